"""Lets every voice say every sentence in every condition, and lets every listener hear it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

import numpy as np

from assistant.errors import GearProblem
from assistant.hearing_bench.listening import noise, scores, sii
from assistant.hearing_bench.listening.noise import Condition, Mixed
from assistant.hearing_bench.listening.talkers import Talker
from assistant.hearing_bench.listening.words import as_read, canonical, score
from assistant.hearing_bench.mixing import Signal, speech_power

if TYPE_CHECKING:
    from assistant.speaking.speech import Samples

_FRAME_S = 0.02
_PAUSE_DB = -35.0
"""A frame this far below the loudest of its sentence counts as silence; chosen by ear and eye, without a source."""


class SentenceListener(Protocol):
    """Whoever hears a mixture and writes down words.

    Attributes:
        name: As in the report.
        unknown: Said words that it cannot know, and is not asked for.
    """

    name: str
    unknown: frozenset[str]

    def hear(self, whole: Signal) -> str:
        """The text heard in a mixture."""
        ...


@dataclass(frozen=True)
class SentenceHeard:
    """What one listener made of one sentence of one voice in one condition."""

    number: int
    talker: str
    condition: str
    listener: str
    text: str
    errors: int
    words: int
    keywords: int
    keywords_right: int
    missed: tuple[str, ...]


@dataclass(frozen=True)
class SentencePlayed:
    """What needs no listener: the noise, its ratio, ESTOI and SII, and the length of the speech."""

    number: int
    talker: str
    condition: str
    kind: str
    ratio_db: float
    estoi: float | None
    sii: float | None
    seconds: float
    pause_s: float


@dataclass
class AllHeard:
    """Everything measured.

    Attributes:
        sentences: The sentences, by number.
        talkers: Names of the voices, with their rates (words a minute; None for one of its own).
        conditions: The conditions.
        listeners: Names of the listeners.
        seed: Seed of draw and noise.
        missing: A sentence about everything that was left out.
        unknown: Said words that a listener cannot know.
        heard: What was heard.
        sounds: What needs no listener.
        done: How many sentences are complete.
    """

    sentences: list[str]
    talkers: dict[str, int | None]
    conditions: list[str]
    listeners: list[str]
    seed: int
    missing: list[str] = field(default_factory=list)
    unknown: tuple[str, ...] = ()
    heard: list[SentenceHeard] = field(default_factory=list)
    sounds: list[SentencePlayed] = field(default_factory=list)
    done: int = 0


@dataclass(frozen=True)
class ListeningBench:
    """What measures.

    Attributes:
        talkers: The voices.
        listeners: The listeners.
        conditions: The conditions.
        keywords: The words that decide what is done.
        sound: The sound of a word: two words of one sound are one to the ear.
        estoi: Whether ESTOI is measured.
    """

    talkers: Sequence[Talker]
    listeners: Sequence[SentenceListener]
    conditions: Sequence[Condition]
    keywords: Collection[str]
    sound: Callable[[str], str]
    estoi: bool = True

    def measure(
        self, sentences: Sequence[str], seed: int, progress: Callable[[str], None] = lambda _text: None
    ) -> AllHeard:
        """Measure sentence by sentence; Ctrl-C ends it with the sentences that are complete.

        Raises:
            GearProblem: There is no sentence, or a voice fails.
        """
        if not sentences:
            raise GearProblem("There is nothing to listen to. Give procedures that say something.")
        measured = AllHeard(
            list(sentences),
            {talker.name: talker.rate for talker in self.talkers},
            [condition.name for condition in self.conditions],
            [listener.name for listener in self.listeners],
            seed,
        )
        measured.unknown = tuple(sorted({word for one in self.listeners for word in one.unknown}))
        noises = noise.NoiseMaker(seed)
        try:
            for number, sentence in enumerate(sentences):
                progress(f"listening: sentence {number + 1} of {len(sentences)}")
                heard, sounds = self._sentence(number, sentence, noises)
                measured.heard += heard
                measured.sounds += sounds
                measured.done += 1
        except KeyboardInterrupt:
            measured.missing.append(f"Stopped after {measured.done} of {len(sentences)} sentences.")
        return measured

    def _sentence(
        self, number: int, sentence: str, noises: noise.NoiseMaker
    ) -> tuple[list[SentenceHeard], list[SentencePlayed]]:
        plain = [noise.at_rate(talker.plain(sentence)) for talker in self.talkers]
        played = [noise.at_rate(talker.say(sentence)) for talker in self.talkers]
        longest = max(map(noise.length, played))
        heard: list[SentenceHeard] = []
        sounds: list[SentencePlayed] = []
        for condition in self.conditions:
            made = noises.make(condition.noise, number, longest)
            kind = noises.kind(condition.noise, number)
            for talker, before, speech in zip(self.talkers, plain, played, strict=True):
                mixed = noise.mixed(speech, made, condition)
                where = (number, talker.name, condition.name)
                with_estoi = self.estoi and bool(condition.noise)
                sounds.append(
                    SentencePlayed(
                        *where,
                        kind,
                        round(mixed.ratio_db, 2),
                        scores.estoi(before, mixed.speech + mixed.noise) if with_estoi else None,
                        intelligibility(mixed) if condition.noise else None,
                        round(len(speech) / noise.RATE, 3),
                        round(longest_pause(noise.to_ear(speech, noise.RATE), noise.RATE), 3),
                    )
                )
                heard += [self._heard(where, sentence, one, mixed) for one in self.listeners]
        return heard, sounds

    def _heard(
        self, where: tuple[int, str, str], sentence: str, listener: SentenceListener, mixed: Mixed
    ) -> SentenceHeard:
        said = canonical(word for word in as_read(sentence) if word not in listener.unknown)
        text = listener.hear(mixed.whole)
        found = score(said, canonical(as_read(text)), self.sound)
        key = [right for word, right in zip(said, found.right, strict=True) if word in self.keywords]
        missed = tuple(word for word, right in zip(said, found.right, strict=True) if not right)
        return SentenceHeard(*where, listener.name, text, found.errors, len(said), len(key), sum(key), missed)


def intelligibility(mixed: Mixed) -> float:
    """The SII of a mixture whose noise has `noise.NOISE_SPL_DB` at the ear."""
    offset = noise.NOISE_SPL_DB - 10 * np.log10(np.mean(mixed.noise**2))
    # Pauses do not count: the level of speech is that of the frames with speech.
    pauses = 10 * np.log10(speech_power(mixed.speech, noise.FRAME) / np.mean(mixed.speech**2))
    speech = sii.spectrum_level(mixed.speech, noise.RATE) + offset + pauses
    return sii.index(speech, sii.spectrum_level(mixed.noise, noise.RATE) + offset)


def longest_pause(samples: Samples, rate: int) -> float:
    """Longest silence inside speech, s; silence before the first and after the last sound does not count."""
    size = max(1, round(_FRAME_S * rate))
    frames = samples[: len(samples) // size * size].astype(np.float64).reshape(-1, size)
    if not frames.size:
        return 0.0
    level = np.sqrt(np.mean(frames**2, axis=1))
    loud = np.flatnonzero(level > np.max(level) * 10 ** (_PAUSE_DB / 20))
    return float(np.max(np.diff(loud), initial=1) - 1) * _FRAME_S
