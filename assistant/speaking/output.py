"""Outputs for speech: the player that a session needs, and one that plays on a clock that may be virtual."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from assistant.speaking.speech import SpokenSound

if TYPE_CHECKING:
    from assistant.speaking.track import SoundTrack

OnFinished = Callable[[bool], None]


class Output(Protocol):
    """The player that a session needs."""

    def play(self, speech: SpokenSound, on_finished: OnFinished) -> None:
        """Play this now, cutting what is being played; report ``on_finished(cut)`` once."""

    def cut(self) -> None:
        """Be quiet at once."""

    def close(self) -> None:
        """Give the device back."""


@dataclass(frozen=True)
class Played:
    """An utterance from `at` until `until` (s on the player's clock), `cut` short or whole."""

    speech: SpokenSound
    at: float
    until: float
    cut: bool


class NullPlayer:
    """Plays nothing; speech takes the time that it would take, on a clock that is given.

    The owner of the clock asks `due` for the next moment at which something happens, sets the clock there
    and calls `tick`; `on_finished` is called inside `tick`, `cut` and `play`.

    Args:
        now: The clock, seconds.
        track: Sound track that gets each utterance at its moment.
    """

    def __init__(self, now: Callable[[], float], track: SoundTrack | None = None) -> None:
        self._now = now
        self._track = track
        self._current: tuple[SpokenSound, float, OnFinished] | None = None
        self.played: list[Played] = []

    @property
    def due(self) -> float | None:
        """When the speech that is on will have ended; None if nothing is being said."""
        if self._current is None:
            return None
        speech, at, _ = self._current
        return at + speech.duration_s

    def play(self, speech: SpokenSound, on_finished: OnFinished) -> None:
        """Begin to say this now; what was being said is cut."""
        self.cut()
        self._current = (speech, self._now(), on_finished)

    def tick(self) -> None:
        """Report the end of speech if the clock has reached it."""
        if self.due is not None and self._now() >= self.due:
            self._end(self.due, cut=False)

    def cut(self) -> None:
        """Be quiet now; speech that had already ended by the clock counts as whole."""
        if self.due is not None:
            self._end(min(self._now(), self.due), cut=self._now() < self.due)

    def close(self) -> None:
        """Cut what is being said."""
        self.cut()

    def _end(self, until: float, *, cut: bool) -> None:
        if self._current is None:
            return
        speech, at, on_finished = self._current
        self._current = None
        self.played.append(Played(speech, at, until, cut))
        if self._track is not None:
            length = round((until - at) * speech.rate)
            self._track.add_assistant(at, speech.samples[:length], speech.rate)
        on_finished(cut)
