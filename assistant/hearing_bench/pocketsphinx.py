"""PocketSphinx 5 for comparison with our own recogniser, on the same sound and with the same phrases.

It gets a JSGF grammar of exactly the language of a step, made from the shipped number grammar and the step's
phrases, and its output counts unchanged.
"""

from __future__ import annotations

import importlib.metadata
import multiprocessing
import signal
import time
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeAlias

from assistant import files, resources
from assistant.errors import GearProblem
from assistant.grammar.lexicon import Pronunciation
from assistant.hearing_bench.wordset import WordSet

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.grammar.step_grammar import StepGrammar
    from assistant.hearing.sound import Samples

Heard: TypeAlias = tuple[str, float, float]
"""Words, the recogniser's own probability of them, and the processor time taken in s."""

KEPT = 8
"""Number of grammars to keep open."""


def jsgf_of(grammar: StepGrammar) -> str:
    """A JSGF grammar that accepts exactly what the grammar of a step accepts."""
    if isinstance(grammar, WordSet):
        return grammar.jsgf
    meanings = grammar.meanings()
    controls = [str(phrase) for phrase, result in meanings if result.control is not None]
    outcomes = [str(phrase) for phrase, result in meanings if result.outcome and result.place is None]
    places = [str(phrase) for phrase in grammar.place_forms()]
    units = [str(form) for unit in grammar.units() for form in grammar.unit_forms(unit)]
    rules = []
    ways = []
    if places:
        rules.append(f"<place> = {_any(places)};")
    placed = "[<place>] " if places else ""
    if controls:
        ways.append(_any(controls))
    if outcomes:
        ways.append(f"{placed}({_any(outcomes)})")
    if units:
        number = files.read_text(resources.directory("grammars") / "number.jsgf", files.SETTINGS)
        rules.append(number[number.index("public <number>") : number.index("// The first form")])
        rules[-1] = rules[-1].replace("public <number>", "<number>")
        ways.append(f"{placed}<number> [{_any(units)}]")
    rules.append(f"public <step> = {' | '.join(ways)};")
    return "#JSGF V1.0;\ngrammar step;\n" + "\n".join(rules) + "\n"


def _any(phrases: Iterable[str]) -> str:
    return " | ".join(phrases)


@dataclass(frozen=True)
class Phrases:
    """The phrases for PocketSphinx: JSGF and pronunciations, which can be sent to another process."""

    jsgf: str
    sounds: tuple[tuple[str, tuple[Pronunciation, ...]], ...]

    @classmethod
    def of(cls, grammar: StepGrammar) -> Phrases:
        """The phrases of a step."""
        sounds = tuple((word, grammar.lexicon.pronunciations(word)) for word in grammar.words())
        return cls(jsgf_of(grammar), sounds)


def name() -> str:
    """PocketSphinx's name and version.

    Raises:
        GearProblem: It is not installed.
    """
    library()
    return f"PocketSphinx {importlib.metadata.version('pocketsphinx')}"


def library() -> Any:
    """PocketSphinx's library.

    Raises:
        GearProblem: It is not installed.
    """
    try:
        import pocketsphinx  # noqa: PLC0415  optional
    except (ImportError, OSError) as error:
        raise GearProblem(
            "PocketSphinx is left out: the Python package 'pocketsphinx' is not installed "
            "(pip install pocketsphinx)."
        ) from error
    return pocketsphinx


class PocketSphinx:
    """The other recogniser.

    Raises:
        GearProblem: It is not installed.
    """

    def __init__(self) -> None:
        pocket = library()
        self._decoder: Any = pocket.Decoder(
            hmm=pocket.get_model_path("en-us/en-us"),
            dict=pocket.get_model_path("en-us/cmudict-en-us.dict"),
            lm=None,
            loglevel="FATAL",
        )
        self._opened: dict[Phrases, str] = {}
        self._active = ""  # using the library before it has a grammar ends the process
        self._count = 0

    def hear(self, samples: Samples, phrases: Phrases) -> Heard:
        """The words of a piece of sound, the recogniser's own probability of them, and the time taken in s."""
        decoder = self._decoder
        name = self._opened.get(phrases) or self._open(phrases)
        if self._active != name:
            decoder.activate_search(name)
            self._active = name
        begun = time.thread_time()
        decoder.start_utt()
        decoder.process_raw(samples.tobytes(), full_utt=True)
        decoder.end_utt()
        found = decoder.hyp()
        words = " ".join(str(found.hypstr).split()) if found and found.hypstr else ""
        sure = min(1.0, max(0.0, float(found.prob))) if found else 0.0
        return words, sure, time.thread_time() - begun

    def _open(self, phrases: Phrases) -> str:
        """Add a grammar, with our pronunciations for words that the dictionary lacks."""
        for word, pronunciations in phrases.sounds:
            if self._decoder.lookup_word(word) is None:
                for number, phones in enumerate(pronunciations, start=1):
                    entry = word if number == 1 else f"{word}({number})"
                    self._decoder.add_word(entry, " ".join(phones), update=False)
        while len(self._opened) >= KEPT:
            oldest = next(iter(self._opened))
            self._decoder.remove_search(self._opened.pop(oldest))
        self._count += 1
        self._opened[phrases] = f"grammar{self._count}"
        self._decoder.add_jsgf_string(self._opened[phrases], phrases.jsgf)
        return self._opened[phrases]


# --- beside us ------------------------------------------------------------------------------------

_here: list[PocketSphinx] = []


def _begin() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent process ends this one
    _here.append(PocketSphinx())


def _hear(samples: Samples, phrases: Phrases) -> Heard:
    return _here[0].hear(samples, phrases)


class Beside:
    """PocketSphinx in its own process, so that a second core does the slower part of the comparison.

    Raises:
        GearProblem: It is not installed.
    """

    def __init__(self) -> None:
        self.name = name()
        self._pool = ProcessPoolExecutor(
            1, mp_context=multiprocessing.get_context("spawn"), initializer=_begin
        )
        self._phrases: dict[StepGrammar, Phrases] = {}

    def hear(self, samples: Samples, grammar: StepGrammar) -> Future[Heard]:
        """Like `PocketSphinx.hear`, but later."""
        if grammar not in self._phrases:
            self._phrases[grammar] = Phrases.of(grammar)
        return self._pool.submit(_hear, samples, self._phrases[grammar])

    def close(self) -> None:
        """End the process and drop the sound that it has not heard yet."""
        self._pool.shutdown(cancel_futures=True)


class Within:
    """PocketSphinx in this process, for one that is one of several already.

    A process of its own inside such a process would keep it from ending.

    Raises:
        GearProblem: It is not installed.
    """

    def __init__(self) -> None:
        self.name = name()
        self._decoder = PocketSphinx()
        self._phrases: dict[StepGrammar, Phrases] = {}

    def hear(self, samples: Samples, grammar: StepGrammar) -> Future[Heard]:
        """Like `Beside.hear`, but at once."""
        if grammar not in self._phrases:
            self._phrases[grammar] = Phrases.of(grammar)
        done: Future[Heard] = Future()
        done.set_result(self._decoder.hear(samples, self._phrases[grammar]))
        return done

    def close(self) -> None:
        """Nothing has to end."""
