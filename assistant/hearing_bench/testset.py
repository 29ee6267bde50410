"""The utterances of a manifest: clean speech, its meaning, and the grammar that hears it."""

from __future__ import annotations

import random
import zlib
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING

from assistant import resources
from assistant.core.dialogue.sayable import request_for, requests_of
from assistant.core.dialogue.states import State
from assistant.core.values.result import Result
from assistant.errors import FileProblem, GearProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.numbers import in_words
from assistant.grammar.step_grammar import StepGrammar
from assistant.hearing_bench.mixing import Mixture, Signal, in_noise, joined, stretched
from assistant.hearing_bench.speech import missing_recordings, recording
from assistant.hearing_bench.wordset import WordSet, dictionary, of_words
from assistant.loading.folder import load_library

if TYPE_CHECKING:
    from assistant.core.values.result import GrammarRequest
    from assistant.hearing_bench.manifest import (
        Answers,
        Manifest,
        Other,
        Recordings,
        SpokenPhrase,
        SpokenPhrases,
    )
    from assistant.hearing_bench.speech import SpeechCache

WORD_PAUSE_S = (0.03, 0.15)
"""Shortest and longest pause between joined words, s."""

MOST_DRAWS = 10_000
"""If this many draws do not give a kind of phrase, the grammars do not have it."""


@dataclass(frozen=True)
class BenchUtterance:
    """One utterance.

    Attributes:
        part: Row of the manifest.
        speaker: Voice or person.
        words: The spoken words; "" if nobody wrote them down.
        truth: Their meaning in `grammar`; None if they have none there.
        grammar: Grammar that hears them.
        speech: The trimmed, clean speech.
        noise: Kind of noise to add, the same at every ratio.
        seed: Seed of the noise.
    """

    part: str
    speaker: str
    words: str
    truth: Result | None
    grammar: StepGrammar
    speech: Signal
    noise: str
    seed: int


class TestSet:
    """Makes the utterances of a manifest.

    Args:
        manifest: The plan.
        speech: Supplies the speech.

    Raises:
        FileProblem: Procedures or grammars cannot be read.
    """

    __test__ = False  # its name starts like that of a test class

    def __init__(self, manifest: Manifest, speech: SpeechCache) -> None:
        self._manifest = manifest
        self._speech = speech
        self._library = load_library(resources.directory("procedures"))
        self.grammars = GrammarSet.load(resources.directory("grammars"))
        self.notes: list[str] = []

    @property
    def noises(self) -> tuple[str, ...]:
        """Kinds of noise, in turn."""
        return self._manifest.mixing.noises

    @cached_property
    def _requests(self) -> list[GrammarRequest]:
        return list(requests_of(self._library))

    def request(self, question: str, state: State = State.ASKING) -> GrammarRequest:
        """The request of a question of the manifest, in a state of the dialogue.

        Raises:
            UsageProblem: There is no such procedure.
            FileProblem: There is no such step.
        """
        procedure, step = self._manifest.questions[question]
        if step not in self._library.procedure(procedure).steps:
            raise FileProblem(self._manifest.path, 0, f"the procedure '{procedure}' has no step '{step}'")
        return request_for(state, self._library.step(procedure, step))

    def question(self, question: str) -> StepGrammar:
        """The grammar of a question of the manifest."""
        return self.grammars.request(self.request(question))

    def voices(self, names: tuple[str, ...]) -> list[str]:
        """The voices that can speak here; a note says why others cannot."""
        able = []
        for name in names:
            why = self._speech.missing(self._manifest.voices[name])
            if not why:
                able.append(name)
            elif why not in self.notes:
                self.notes.append(why)
        return able

    def mixture(self, utterance: BenchUtterance, ratio_db: float, *, tail_s: float | None = None) -> Mixture:
        """An utterance in its noise."""
        manifest = self._manifest
        return in_noise(
            utterance.speech,
            utterance.noise,
            ratio_db,
            utterance.seed,
            lead_s=manifest.mixing.lead_s,
            tail_s=manifest.mixing.tail_s if tail_s is None else tail_s,
            level_db=manifest.mixing.speech_dbfs,
        )

    def say(self, voice: str, words: str, factor: float = 1.0) -> Signal:
        """A sentence in a voice, stretched."""
        return stretched(self._speech.say(self._manifest.voices[voice], words), factor)

    # --- rows ---

    def understood(self, phrase: SpokenPhrase) -> tuple[StepGrammar, Result | None]:
        """The grammar that hears a phrase of the manifest, and its meaning there.

        Raises:
            FileProblem: It means something else than the manifest says.
        """
        grammar = self.grammars.request(self.request(phrase.question, State(phrase.state)))
        truth = grammar.parse(phrase.words)
        if named(truth) != phrase.means:
            raise FileProblem(
                self._manifest.path,
                phrase.line,
                f"'{phrase.words}' means '{named(truth)}' at '{phrase.question}', not '{phrase.means}'",
            )
        return grammar, truth

    def phrases(self, part: SpokenPhrases, share: float) -> list[BenchUtterance]:
        """Phrases that are written out, each in the grammar of its question and state."""
        found = []
        step = max(1, round(1 / share))
        for voice in self.voices(part.voices):
            draw = random.Random(f"{self._manifest.seed} {part.name} {voice}")  # noqa: S311  a test set
            for number, phrase in enumerate(part.phrases[::step] * part.takes):
                grammar, truth = self.understood(phrase)
                factor = 1 + draw.uniform(-self._manifest.mixing.stretch, self._manifest.mixing.stretch)
                speech = self.say(voice, phrase.words, factor)
                found.append(self._utterance(part.name, voice, phrase.words, truth, grammar, speech, number))
        return found

    def answers(self, part: Answers, share: float) -> list[BenchUtterance]:
        """Answers drawn from the grammars of steps; a share takes the first ones."""
        found = []
        fitting = [request for request in self._requests if _fits(request, part)]
        if not fitting:
            raise FileProblem(
                self._manifest.path, part.line, f"no step fits '{part.name}'", "Change its 'where'"
            )
        for voice in self.voices(part.voices):
            draw = random.Random(f"{self._manifest.seed} {part.name} {voice}")  # noqa: S311  a test set
            seen: set[tuple[GrammarRequest, str]] = set()
            for number in range(_share_of(part.count, share)):
                request, words, truth = self._drawn(part, fitting, draw, seen)
                factor = 1 + draw.uniform(-self._manifest.mixing.stretch, self._manifest.mixing.stretch)
                found.append(
                    self._utterance(
                        part.name,
                        voice,
                        words,
                        truth,
                        self.grammars.request(request),
                        self.say(voice, words, factor),
                        number,
                    )
                )
        return found

    def _drawn(
        self,
        part: Answers,
        fitting: list[GrammarRequest],
        draw: random.Random,
        seen: set[tuple[GrammarRequest, str]],
    ) -> tuple[GrammarRequest, str, Result]:
        for _ in range(MOST_DRAWS):
            request = draw.choice(fitting)
            grammar = self.grammars.request(request)
            words = grammar.sample(draw)
            truth = grammar.parse(words)
            if truth is not None and _kind(truth) == part.say and (request, words) not in seen:
                seen.add((request, words))
                return request, words, truth
        raise FileProblem(
            self._manifest.path,
            part.line,
            f"there are not {part.count} different phrases for '{part.name}'",
            "Lower its 'count'",
        )

    def recordings(self, part: Recordings, share: float) -> list[BenchUtterance]:
        """Recordings of people, or numbers joined from them; none, with a note, if they are missing."""
        if why := missing_recordings(part):
            self.notes.append(why)
            return []
        if part.join:
            return self._joined(part, share)
        try:
            grammar = self._word_set(part)
        except GearProblem as problem:
            self.notes.append(f"The recordings '{part.name}' are left out: {problem}")
            return []
        found = []
        for number, clip in enumerate(part.clips[: _share_of(len(part.clips), share)]):
            truth = grammar.parse(clip.words)
            if truth is None:
                raise FileProblem(
                    self._manifest.path, part.line, f"'{clip.words}' is not in the grammar of '{part.name}'"
                )
            speech = recording(part.folder / clip.file)
            found.append(self._utterance(part.name, clip.speaker, clip.words, truth, grammar, speech, number))
        return found

    def _word_set(self, part: Recordings) -> StepGrammar:
        if part.question is not None:
            return self.question(part.question)
        own = self.grammars.lexicon
        text = part.grammar or of_words([clip.words for clip in part.clips])
        path, line = self._manifest.path, part.line
        words = WordSet(text, own, part.same, path, line).words()
        return WordSet(text, dictionary(words.keys(), own), part.same, path, line)

    def _joined(self, part: Recordings, share: float) -> list[BenchUtterance]:
        grammar = self.question(part.question) if part.question else None
        clips = {clip.words: clip for clip in part.clips}
        pieces = {clip.words: recording(part.folder / clip.file) for clip in part.clips}
        draw = random.Random(f"{self._manifest.seed} {part.name}")  # noqa: S311  a test set
        found = []
        for number in range(_share_of(part.join, share)):
            words = in_words(_whole_number(draw)).split()
            truth = grammar.parse(" ".join(words)) if grammar else None
            if grammar is None or truth is None or any(word not in clips for word in words):
                raise FileProblem(
                    self._manifest.path,
                    part.line,
                    f"'{' '.join(words)}' cannot be put together or heard in '{part.name}'",
                    "Give it a question that asks for a number, and all words of numbers",
                )
            pauses = [draw.uniform(*WORD_PAUSE_S) for _ in words[1:]]
            speech = joined([pieces[word] for word in words], pauses, self._manifest.mixing.speech_dbfs)
            speaker = clips[words[0]].speaker
            found.append(self._utterance(part.name, speaker, " ".join(words), truth, grammar, speech, number))
        return found

    def other(self, part: Other, share: float) -> list[BenchUtterance]:
        """Speech outside every grammar."""
        if part.recordings is not None:
            if why := missing_recordings(part.recordings):
                self.notes.append(why)
                return []
            found = []
            clips = part.recordings.clips
            for number, clip in enumerate(clips[: _share_of(len(clips), share)]):
                grammar = self.question(part.questions[number % len(part.questions)])
                speech = recording(part.recordings.folder / clip.file)
                found.append(self._utterance(part.name, clip.speaker, "", None, grammar, speech, number))
            return found
        voices = self.voices(part.voices)
        found = []
        if not voices:
            return found
        draw = random.Random(f"{self._manifest.seed} {part.name}")  # noqa: S311  a test set
        chosen = _spread(part.sentences, share)
        for number, (question, words, line) in enumerate(chosen):
            grammar = self.question(question)
            if grammar.parse(words) is not None:
                raise FileProblem(
                    self._manifest.path,
                    line,
                    f"'{words}' is a phrase of the question '{question}'",
                    "Take another sentence",
                )
            voice = voices[number % len(voices)]
            factor = 1 + draw.uniform(-self._manifest.mixing.stretch, self._manifest.mixing.stretch)
            speech = self.say(voice, words, factor)
            found.append(
                self._utterance(part.name, voice, words, None, grammar, speech, number // len(voices))
            )
        return found

    def _utterance(
        self,
        part: str,
        speaker: str,
        words: str,
        truth: Result | None,
        grammar: StepGrammar,
        speech: Signal,
        number: int,
    ) -> BenchUtterance:
        noises = self._manifest.mixing.noises
        seed = zlib.crc32(f"{self._manifest.seed} {part} {speaker} {number}".encode())
        return BenchUtterance(
            part, speaker, words, truth, grammar, speech, noises[number % len(noises)], seed
        )


def named(result: Result | None) -> str:
    """The meaning of a phrase by name: of its outcome or control word, or its number; "" without a meaning."""
    if result is None:
        return ""
    return result.outcome or str(result.control or result.value or result.signs)


def _share_of(count: int, share: float) -> int:
    return max(1, round(count * share))


def _spread(sentences: tuple[tuple[str, str, int], ...], share: float) -> list[tuple[str, str, int]]:
    """A share of the sentences, spread evenly, so that every question keeps some."""
    count = _share_of(len(sentences), share)
    return [sentences[number * len(sentences) // count] for number in range(count)]


def _fits(request: GrammarRequest, part: Answers) -> bool:
    if part.say == "control" and not request.controls:
        return False
    return not part.where or bool(set(part.where) & {*request.outcomes, *request.units})


def _kind(result: Result) -> str:
    if result.control is not None:
        return "control"
    return "outcome" if result.outcome is not None else "reading"


def _whole_number(draw: random.Random) -> Decimal:
    """Most readings are short: two in five under a hundred, two in five under a thousand, the rest under 10,000."""
    return Decimal(
        draw.randrange(*draw.choice(((0, 100), (0, 100), (100, 1000), (100, 1000), (1000, 10_000))))
    )
