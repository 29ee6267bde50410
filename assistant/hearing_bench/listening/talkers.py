"""The voices that are compared, each as the assistant would play it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from assistant.errors import GearProblem
from assistant.hearing_bench.listening.flite import by_flite
from assistant.speaking import shaping

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.speaking.speech import SpokenSound
    from assistant.speaking.voice import Voice

OUTSIDE = "flite:rms"
"""The voice for comparison that is not ours: text-to-speech from recordings of a man, US English."""

FULL = shaping.LEVELS[-1]
"""The strength of shaping in noise of 0 dB."""


class Renders(Protocol):
    """Whatever turns text into speech."""

    def render(self, text: str) -> SpokenSound:
        """The speech for a text."""
        ...

    def shape_for(self, level: int) -> None:
        """Shape what is rendered from now on for noise of this level."""
        ...


@dataclass(frozen=True)
class FliteVoice:
    """A voice of flite."""

    voice: str

    def render(self, text: str) -> SpokenSound:
        """The speech for a text.

        Raises:
            GearProblem: flite or the voice is not installed.
        """
        return by_flite(self.voice, text)

    def shape_for(self, level: int) -> None:
        """It has no shaping.

        Raises:
            ValueError: It is asked for some.
        """
        if level:
            raise ValueError("a voice of flite cannot be shaped")


@dataclass(frozen=True)
class Talker:
    """A voice under test.

    Attributes:
        name: As in the report.
        voice: What speaks.
        level: Strength of the shaping for noise; 0 for none.
        rate: Words a minute; None for a voice that has a rate of its own.
    """

    name: str
    voice: Renders
    level: int = 0
    rate: int | None = None

    def plain(self, text: str) -> SpokenSound:
        """The speech before any shaping."""
        return self._at(shaping.LEVELS[0], text)

    def say(self, text: str) -> SpokenSound:
        """The speech as it is played; as many samples as `plain`."""
        return self._at(self.level, text)

    def _at(self, level: int, text: str) -> SpokenSound:
        self.voice.shape_for(level)
        return self.voice.render(text)


def ours(voice: Voice, *, shaped: bool) -> list[Talker]:
    """A voice of the assistant, plain and, if asked for, shaped."""
    name, rate = voice.voice_name, voice.rate_words_per_minute
    levels = [("", 0), *([(", shaped", FULL)] if shaped else [])]
    return [Talker(f"{name}{suffix}", voice, level, rate) for suffix, level in levels]


def able(talkers: Sequence[Talker]) -> tuple[list[Talker], list[str]]:
    """The talkers that can speak, and a sentence about each that cannot."""
    can: list[Talker] = []
    missing: list[str] = []
    for talker in talkers:
        try:
            talker.say("Ready.")
        except GearProblem as problem:
            missing.append(str(problem))
        else:
            can.append(talker)
    return can, list(dict.fromkeys(missing))
