"""Recognises sound files against a grammar: one JSON object for each file.

Reading, recognising, parsing and judging are those of a live session, except that a file is one utterance,
without a search for the beginning and end of speech. It may have any level and be cut tightly around the words.
"""

from __future__ import annotations

import time
from contextlib import ExitStack
from typing import TYPE_CHECKING, Any

from assistant.commands.console import complain
from assistant.core.dialogue.missing import BAD_LEVELS
from assistant.core.dialogue.sayable import request_for
from assistant.core.dialogue.states import State
from assistant.core.nearest import among
from assistant.core.values.codec import to_json
from assistant.core.values.events import known_words
from assistant.errors import UsageProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.levels import LevelOf, Trouble, cure
from assistant.hearing.recogniser import find_model
from assistant.hearing.sound import read_sound, stated_length_s
from assistant.hearing.whole import hear_whole
from assistant.learning.hearer import hearer_of, with_own_words
from assistant.loading.folder import load_library
from assistant.loading.shop import grammars_in_use, procedures_in_use, shop_folder
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from assistant.core.values.result import Result
    from assistant.grammar.step_grammar import StepGrammar
    from assistant.hearing.recogniser import Recogniser
    from assistant.learning.hearer import Hearer

    Progress = Callable[[float, float, float], None]

A_SECOND_S = 0.09
"""Time, s, that a second of sound takes on one processor core, measured in 2026 with `audio_fixtures/`."""

_LEAST_S = 0.5
"""A file counts as so much sound, s, however short it is."""


def work_s(files: Sequence[Path]) -> float:
    """About the time, s, that these files take on the machine of `A_SECOND_S`."""
    return A_SECOND_S * sum(map(_counted_s, files))


def _counted_s(file: Path) -> float:
    return max(stated_length_s(file), _LEAST_S)


def run(
    files: Sequence[Path],
    *,
    grammar: str | None,
    procedure: str | None,
    step: str | None,
    model: Path | None,
    grammars: Path | None,
    procedures: Path | None,
    technician: str = "",
    write: Callable[[dict[str, Any]], None],
    tell: Callable[[str], None] = complain,
    progress: Progress = lambda _done, _all, _ahead: None,
) -> int:
    """Recognise files and write a line for each.

    It tells first if what was learnt of the voice does not count any more, and last, once for each trouble, that
    files are too quiet, cut off or full of hum, and what to turn.
    Each line has the same parts. For a file that cannot be read they are all null, and ``error`` says why; the
    other files are heard all the same.
    Before each file it calls `progress` with the sound heard so far, all the sound, and the length of this file, s.

    Returns:
        0, or 2 if a file cannot be read.

    Raises:
        BayAssistantError: Grammar, procedure, step or model cannot be used.
    """
    hearer = hearer_of(technician)
    asked = asked_for(grammar, procedure, step, grammars, procedures, hearer=hearer)
    path = find_model(model)
    for remark in hearer.lapsed(path):
        tell(remark)
    with ExitStack() as closing:
        recogniser = hearer.recogniser(path, closing)
        recogniser.prepare(asked)
        status, levels = _hear(files, recogniser, asked, write, progress)
    for line in levels.lines():
        tell(line)
    return status


def _hear(
    files: Sequence[Path],
    recogniser: Recogniser,
    asked: StepGrammar,
    write: Callable[[dict[str, Any]], None],
    progress: Progress,
) -> tuple[int, BadLevels]:
    """Hear each file; 0, or 2 if one cannot be read, and what is wrong with their levels."""
    status = 0
    levels = BadLevels()
    lengths = [_counted_s(file) for file in files]
    whole, done = sum(lengths), 0.0
    for file, length in zip(files, lengths, strict=True):
        progress(done, whole, length)
        done += length
        try:
            sound = read_sound(file)
        except UsageProblem as problem:
            write(
                {
                    "file": str(file),
                    "words": "",
                    "result": None,
                    "accepted": False,
                    "confidence": 0.0,
                    "snr_db": None,
                    "duration_s": None,
                    "elapsed_s": None,
                    "error": str(problem),
                }
            )
            status = problem.exit_code
            continue
        begun = time.perf_counter()
        judged, evidence = hear_whole(recogniser, asked, sound.samples, DEFAULT_THRESHOLDS)
        snr_db = evidence.snr_db if evidence else None
        levels.look(file, LevelOf.of(sound.samples), speech=evidence is not None)
        write(
            {
                "file": str(file),
                "words": known_words(judged.words),
                "result": _plain(judged.result) if judged.result else None,
                "accepted": judged.accepted,
                "confidence": judged.confidence,
                "snr_db": snr_db,
                "duration_s": round(sound.duration_s, 3),
                "elapsed_s": round(time.perf_counter() - begun, 3),
            }
        )
    return status, levels


class BadLevels:
    """Files whose level a turn of a knob would have mended, told once for each trouble."""

    def __init__(self) -> None:
        self._found: dict[Trouble, list[tuple[Path, LevelOf]]] = {}

    def look(self, file: Path, level: LevelOf, *, speech: bool) -> None:
        """Look at the next file; only one with speech in it can be too quiet."""
        trouble = level.trouble
        if trouble is not None and (speech or trouble is not Trouble.QUIET):
            self._found.setdefault(trouble, []).append((file, level))

    def lines(self) -> Iterator[str]:
        """For each trouble its first file, how many more there are, the figure of the first, and what to turn."""
        for trouble, files in self._found.items():
            (file, level), more = files[0], len(files) - 1
            others = f" and {more} more {'file' if more == 1 else 'files'}" if more else ""
            yield f"{file}{others}: {BAD_LEVELS[trouble]} {cure(trouble, level)}"


def asked_for(
    grammar: str | None,
    procedure: str | None,
    step: str | None,
    grammars: Path | None = None,
    procedures: Path | None = None,
    *,
    hearer: Hearer | None = None,
) -> StepGrammar:
    """The named grammar, or that of a step, with the own words of a technician.

    Raises:
        UsageProblem: Neither or both were named, or one does not exist.
    """
    loaded = GrammarSet.load(grammars_in_use(grammars, shop_folder(procedures)))
    if hearer is not None and hearer.learnt is not None:
        loaded = with_own_words(loaded, hearer.learnt)
    if grammar is not None and procedure is None and step is None:
        return loaded.named(grammar)
    if grammar is not None or procedure is None or step is None:
        raise UsageProblem("Say what to listen for: either --grammar NAME, or --procedure NAME --step NAME.")
    library = load_library(procedures_in_use(procedures))
    steps = library.procedure(procedure).steps
    if step not in steps:
        raise UsageProblem(
            f"The procedure '{procedure}' has no step '{step}'. {among(step, steps, 'Its steps are')}."
        )
    return loaded.request(request_for(State.ASKING, library.step(procedure, step)))


def _plain(result: Result) -> dict[str, Any]:
    """Only the spoken parts: ``{"outcome": "dark", "place": "switched"}``."""
    return {name: value for name, value in to_json(result).items() if name != "type" and value is not None}
