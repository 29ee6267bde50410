"""The played person of a demonstration: speaks recorded sounds into the ear and presses keys when asked."""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from assistant import files
from assistant.core.dialogue.states import State
from assistant.demo.scenario import THINKS_S, PlayedTurn
from assistant.hearing.activity import CHUNK
from assistant.hearing.ear import Ear
from assistant.hearing.sound import RATE, Samples, read_sound
from assistant.rehearsal.player import MadeClock
from assistant.speaking.track import SoundTrack

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.core.values.result import GrammarRequest

KEY_S = 0.5
"""Time between two keys of the played person."""


@dataclass
class Sounding:
    """A sound on its way into the microphone; speech ends at the sample `said`, the file at `until`."""

    turn: PlayedTurn
    samples: Samples
    said: int
    until: int
    at: float
    position: int = 0


@dataclass
class PlayedPerson:
    """The played person: waits until the assistant listens in the right state, then speaks or presses keys.

    It stands where the microphone does: the session's `Ears`.
    """

    turns: deque[PlayedTurn]
    clock: MadeClock
    track: SoundTrack
    state: Callable[[], State]
    press: Callable[[str], None]
    ear: Ear | None = None
    _keys: deque[tuple[float, str]] = field(default_factory=deque)
    _sounding: Sounding | None = None
    _next: tuple[float, PlayedTurn] | None = None
    _heard: bool = False
    _since: float = 0.0
    _waited: float = 0.0

    # --- the session's side ---

    def listen(self, request: GrammarRequest) -> None:
        """Hear this from now on."""
        assert self.ear is not None  # noqa: S101  set before the session begins
        self.ear.listen(request)
        self._heard = True
        self._ready()

    def pause(self) -> None:
        """Hear nothing; the person's next words wait, and the present ones go unheard."""
        assert self.ear is not None  # noqa: S101
        self.ear.pause()
        self._heard = False
        self._put_off()
        sounding = self._sounding
        if sounding is not None and sounding.position < sounding.said:  # talked over
            self._stop_sounding(sounding)
            if not sounding.turn.once:
                self.turns.appendleft(sounding.turn)

    def record_note(self, longest_s: float) -> None:
        """Keep free speech as sound."""
        assert self.ear is not None  # noqa: S101
        self.ear.record_note(longest_s)
        self._heard = True
        self._ready()

    def end_note(self) -> None:
        """End the note now."""
        assert self.ear is not None  # noqa: S101
        self.ear.end_note()

    def close(self) -> None:
        """Nothing to give back."""

    # --- the clock's side ---

    @property
    def due(self) -> float | None:
        """When the person acts next, s."""
        times = [self._keys[0][0]] if self._keys else []
        if self._sounding is not None:
            times.append(self._sounding.at + (self._sounding.position + CHUNK) / RATE)
        if self._next is not None:
            times.append(self._next[0])
        return min(times, default=None)

    def tick(self) -> None:
        """Do what is due now."""
        now = self.clock.now
        if self._keys and self._keys[0][0] <= now:
            self.press(self._keys.popleft()[1])
        if self._next is not None and self._next[0] <= now:
            self._do(self._next[1])
        if (
            self._sounding is not None
            and self._sounding.at + (self._sounding.position + CHUNK) / RATE <= now + 1e-6
        ):
            self._hear(self._sounding)

    def _ready(self) -> None:
        """The assistant listens: the next turn is due, if it belongs into this state and nothing else is on."""
        self._put_off()
        free = self._heard and not self._keys and self._sounding is None
        if free and self.turns and self.state() in self.turns[0].when:
            turn = self.turns[0]
            # A reminder in the middle of a long wait does not restart it, or it would never end; the person
            # thinks about it for a moment all the same.
            left = max(turn.after_s - self._waited, min(turn.after_s, THINKS_S))
            self._since = self.clock.now
            self._next = (self.clock.now + left, turn)

    def _put_off(self) -> None:
        """Put the next turn off; the time spent waiting for it counts."""
        if self._next is not None:
            self._waited += self.clock.now - self._since
            self._next = None

    def _do(self, turn: PlayedTurn) -> None:
        self._next = None
        self._waited = 0.0
        self.turns.popleft()
        if turn.play is None:
            self._keys.extend((self.clock.now + number * KEY_S, key) for number, key in enumerate(turn.keys))
            return
        samples = read_sound(turn.play).samples
        # A microphone goes on hearing the bay after the words: the last bit of noise, some more of it; after a
        # note, as long as it takes to be sure that it has ended.
        tail = np.tile(samples[-RATE // 2 :], 7 if self.state() is State.NOTING else 2)
        self._sounding = Sounding(
            turn, np.concatenate([samples, tail]), _said(turn.play, samples), len(samples), self.clock.now
        )

    def _hear(self, sounding: Sounding) -> None:
        assert self.ear is not None  # noqa: S101
        chunk = sounding.samples[sounding.position : sounding.position + CHUNK]
        sounding.position += CHUNK
        if sounding.position + CHUNK > len(sounding.samples):
            self._stop_sounding(sounding)
        self.ear.feed(chunk)
        if self._sounding is None:
            self._ready()

    def _stop_sounding(self, sounding: Sounding) -> None:
        """End it: the part that was played goes onto the sound track."""
        self._sounding = None
        self.track.add_technician(
            sounding.at, sounding.samples[: min(sounding.position, sounding.until)], RATE
        )


def _said(path: Path, samples: Samples) -> int:
    """The sample at which the words of a fixture end, as its manifest says; the last one without a manifest."""
    try:
        clips = json.loads(files.read_text(path.parent / "manifest.json", files.SETTINGS))["clips"]
        ends = {clip["file"]: float(clip["speech_to_s"]) for clip in clips}
    except (OSError, ValueError, KeyError, TypeError):
        return len(samples)
    return round(ends.get(path.name, len(samples) / RATE) * RATE)
