"""Bands of frequency, the power in them, and the taking away of a known share of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from assistant.hearing.activity import CHUNK
from assistant.hearing.sound import FULL_SCALE, RATE

if TYPE_CHECKING:
    from assistant.hearing.sound import Samples

Powers = NDArray[np.float32]
"""Power in each band, full scale being 1; shape (..., BANDS)."""

BANDS = 16
LOWEST_HZ, HIGHEST_HZ = 200.0, 6000.0

HOP = CHUNK // 2
"""Step from one spectrum to the next: 16 ms; cleaned sound comes so much later."""

SILENT = 1e-9
"""Power that is added to every band, so that it has a logarithm."""


def _filters() -> Powers:
    """Weights of the bins of a chunk's spectrum in each band; equal steps in mel, 2595 lg(1 + f/700 Hz)."""
    ends = [2595 * np.log10(1 + hertz / 700) for hertz in (LOWEST_HZ, HIGHEST_HZ)]
    edges = 700 * (10 ** (np.linspace(ends[0], ends[1], BANDS + 1) / 2595) - 1)
    inside = (edges[:-1, None] <= _BINS) & (edges[1:, None] > _BINS)
    return np.asarray(inside / inside.sum(axis=1, keepdims=True), np.float32)


_BINS = np.fft.rfftfreq(CHUNK, 1 / RATE)
_FILTERS = _filters()
_MIDDLES = _FILTERS @ _BINS
_WINDOW = np.hanning(CHUNK).astype(np.float32)
_SCALE = np.float32(1 / (FULL_SCALE**2 * float(np.sum(_WINDOW**2))))
_ROOT = np.sqrt(np.hanning(CHUNK + 1)[:-1])
"""Window before and after the change; the squares of two that are a hop apart add up to one."""


def powers(frames: Samples) -> Powers:
    """Mean power of the bins in each band; frames of shape (..., CHUNK)."""
    spectra = np.abs(np.fft.rfft(frames.astype(np.float32) * _WINDOW, axis=-1)) ** 2
    return np.asarray(spectra.astype(np.float32) * _SCALE @ _FILTERS.T + np.float32(SILENT), np.float32)


class Cleaner:
    """Takes power out of the bands of one sound, chunk after chunk; for one thread."""

    def __init__(self) -> None:
        self._before = np.zeros(HOP)
        self._rest = np.zeros(HOP)
        self._gains = np.ones(BANDS, np.float32)

    def clean(self, chunk: Samples, gains: Powers) -> Samples:
        """The sound up to `HOP` before the end of this chunk, as long as the chunk.

        Args:
            chunk: The next `CHUNK` samples.
            gains: By which each band's amplitude is multiplied; where all are 1 the sound stays as it is.
        """
        sound = np.concatenate([self._before, chunk])
        found = _changed(sound[:CHUNK], (self._gains + gains) * np.float32(0.5))
        after = _changed(sound[HOP:], gains)
        found[:HOP] += self._rest
        found[HOP:] += after[:HOP]
        self._before, self._rest, self._gains = sound[CHUNK:], after[HOP:], gains
        return np.clip(np.rint(found), -FULL_SCALE, FULL_SCALE - 1).astype(np.int16)


def _changed(frame: NDArray[np.float64], gains: Powers) -> NDArray[np.float64]:
    """A windowed frame with gains that change smoothly from the middle of one band to the next."""
    if np.all(gains == 1):
        return np.asarray(frame * _ROOT**2)
    full = np.interp(_BINS, _MIDDLES, gains)
    return np.asarray(np.fft.irfft(np.fft.rfft(frame * _ROOT) * full) * _ROOT)
