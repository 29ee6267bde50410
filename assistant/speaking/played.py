"""What the loudspeaker was given lately, on the time line of the microphone's samples.

The player hands over each block as the device takes it; the microphone's thread says how many samples came from it.
Both run at the same rate, so what is handed over can simply be laid beside what comes in, and no clock is asked.
The sound arrives at the microphone later than it lies here, by the delay of both devices and of the way between.
"""

from __future__ import annotations

import importlib
import threading
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.speaking.speech import Samples

KEPT_S = 8.0
"""Length of what is kept: far more than an ear lags behind its microphone."""

WAITING_S = 0.2
"""Handed-over sound that may wait for the microphone; more has piled up while the microphone gave nothing."""

GAP_S = 0.032
"""Sound missing from one side from which the two no longer lie beside each other as before."""


class PlayedSound:
    """Lays what is played beside what is heard; every method is safe from any thread.

    Whenever the microphone begins to give sound, also after it stood still, only the newest handed-over sound is laid
    beside it: older blocks went out before. Otherwise the sound would seem to arrive before it was played.

    Args:
        rate: Sampling rate of the microphone's samples, Hz.

    Attributes:
        breaks: How often the two sides were laid anew beside each other.
    """

    def __init__(self, rate: int) -> None:
        self._rate = rate
        self._from = 0
        self._resampler: Any = None
        self._waiting: Samples = np.zeros(0, np.int16)
        self._ring: Samples = np.zeros(round(KEPT_S * rate), np.int16)
        self._passed = 0
        self._stands_still = True
        self._lock = threading.Lock()
        self.breaks = 0

    def hand_over(self, block: NDArray[np.int16], rate: int) -> None:
        """A block goes to the loudspeaker; shape (frames, channels), all channels the same."""
        mono = np.ascontiguousarray(block[:, 0])
        if rate != self._from:
            soxr = importlib.import_module("soxr")  # late, as in `assistant.speaking.speech`
            same = rate == self._rate
            self._resampler = None if same else soxr.ResampleStream(rate, self._rate, 1, dtype="int16")
            self._from = rate
        fitted = mono if self._resampler is None else self._resampler.resample_chunk(mono)
        with self._lock:
            self._waiting = np.concatenate([self._waiting, fitted])
            longest = round(WAITING_S * self._rate)
            if self._waiting.size > longest:
                self._waiting = self._waiting[-longest:]
                self.breaks += not self._stands_still
                self._stands_still = True

    def pass_by(self, count: int) -> None:
        """So many samples came from the microphone."""
        with self._lock:
            if self._stands_still:
                self._waiting, self._stands_still = self._waiting[-count:], False
            piece, self._waiting = self._waiting[:count], self._waiting[count:]
            if count - piece.size > GAP_S * self._rate:
                self.breaks += 1
            piece = np.concatenate([piece, np.zeros(count - piece.size, np.int16)])[-self._ring.size :]
            self._passed += count
            places = np.arange(self._passed - piece.size, self._passed) % self._ring.size
            self._ring[places] = piece

    def between(self, start: int, end: int) -> Samples:
        """What lies beside the microphone's samples from `start` to `end`, counted from its first; else silence."""
        found = np.zeros(end - start, np.int16)
        with self._lock:
            first = max(start, 0, self._passed - self._ring.size)
            last = min(end, self._passed)
            if first < last:
                found[first - start : last - start] = self._ring[np.arange(first, last) % self._ring.size]
        return found
