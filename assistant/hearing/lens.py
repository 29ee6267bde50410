"""The foreground of an utterance that still goes on, for the recogniser that listens along.

`foreground.prepared` needs the whole utterance: its level, and what comes 0.12 s later. `Lens` does the same with what
is known so far, so its sound comes that much late, and knows at the end whether the whole would look different.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.foreground import DEFAULT_GATE, FRAME, Gate, gains, levels, loudness, turned
from assistant.hearing.sound import RATE

if TYPE_CHECKING:
    from assistant.hearing.sound import Samples

MATTERS_DB = 20.0
"""Frames down to so far under the voice are compared: what lies deeper is silence either way."""

DIFFERS_DB = 5.0
"""A gain that is off by more than this changes what is heard; the model was trained over 24 dB of levels."""

DIFFERS_FRAMES = 4
"""More frames than this with another gain change what is heard: 40 ms, a soft sound."""


class Lens:
    """An utterance on its way to the recogniser; for one thread.

    Args:
        expected_db: Level of the technician's voice by `loudness`, if known.
        gate: The gate.
    """

    def __init__(self, expected_db: float | None = None, gate: Gate = DEFAULT_GATE) -> None:
        self._expected = expected_db
        self._gate = gate
        self._sound: list[Samples] = []
        self._found = np.zeros(0, np.float32)
        self._given = np.zeros(0, np.float32)
        self._handed: list[Samples] = []
        self._behind = round(gate.opens_s * RATE / FRAME)

    @property
    def samples(self) -> Samples:
        """All its sound as it came."""
        return np.concatenate(self._sound) if self._sound else np.zeros(0, np.int16)

    @property
    def heard(self) -> Samples:
        """All that was handed on, since the beginning or since it was settled."""
        return np.concatenate(self._handed) if self._handed else np.zeros(0, np.int16)

    def add(self, samples: Samples) -> Samples:
        """Take in the next sound; returns what can be handed on now, which may be nothing."""
        self._sound.append(samples)
        whole = self.samples
        known = max(0, whole.size // FRAME - 1)  # a frame's level needs half a frame on both sides
        if known > self._found.size:
            start = max(0, self._found.size - 1)
            new = levels(whole[start * FRAME :])[self._found.size - start : known - start]
            self._found = np.concatenate([self._found, new])
        return self._handed_on(whole, known - self._behind)

    def rest(self) -> Samples:
        """The end has come: what was not handed on yet."""
        whole = self.samples
        self._found = levels(whole)
        return self._handed_on(whole, self._found.size)

    def settle(self) -> Samples:
        """All the sound so far as `prepared` gives it; what comes next goes on from there."""
        whole = self.samples
        self._found = levels(whole)
        self._given = self._given[:0]
        self._handed.clear()
        self._expected = None
        return self._handed_on(whole, self._found.size)

    @property
    def differs(self) -> bool:
        """Whether what was handed on differs from what the whole is now known to need, so that it matters."""
        found = self._found[: self._given.size]
        if not found.size:
            return False
        voice = loudness(self._found)
        wanted = gains(self._found, voice, self._gate)[: found.size]
        apart = np.abs(wanted - self._given) > DIFFERS_DB
        return int(np.sum(apart & (found >= voice - MATTERS_DB))) > DIFFERS_FRAMES

    def _handed_on(self, whole: Samples, upto: int) -> Samples:
        """The frames from where it was up to this one."""
        begin = self._given.size
        if upto <= begin:
            return whole[:0]
        own = loudness(self._found)
        voice = own if self._expected is None else max(own, self._expected)
        new = gains(self._found, voice, self._gate)[begin:upto]
        self._given = np.concatenate([self._given, new])
        last = begin - 1 if begin else 0
        sound = turned(whole[last * FRAME : upto * FRAME], self._given[last:])
        self._handed.append(sound[(begin - last) * FRAME :])
        return self._handed[-1]
