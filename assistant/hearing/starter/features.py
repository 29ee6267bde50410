"""Sound as frames for the network: powers of 32 bands, each relative to its own slow mean.

A frame is 32 ms long and a new one comes every 16 ms. The logarithm of each band's power minus its running mean does
not depend on the microphone's level and colour. Each frame is computed by itself, so how the sound was cut does not
change a single bit.

On a machine that has no time for sound, pieces of it are lost and exact zeros stand in their place. The edges of such a
gap are no sound of the bay, so a frame with a gap is left out: it gives None.
"""

from __future__ import annotations

import functools
import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from assistant.hearing.sound import RATE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.hearing.sound import Samples

Floats = NDArray[np.float32]

WINDOW, HOP = 512, 256
BANDS = 32
LOW_HZ, HIGH_HZ = 60.0, 7000.0
FRAME_S = HOP / RATE
"""Time from one frame to the next, s."""

SLOW_S = 6.0
"""Time constant of the running mean; chosen so that a starter's budget of ten seconds stays visible in it."""

FLOOR = 1e-2
"""Power added to each band: about that of one step of 16 bits."""


GAP = 32
"""So many exact zeros in a row are no sound: a microphone whose own noise is half a step of 16 bits has them once in
hours (0.68 to the power of 32). Every gap of 4 ms holds such a row."""

STILL_S = 0.3
"""Silence of exact zeros counts as a gap for so long, s; then it is what the microphone delivers. Sound drops out for
less (10 to 100 ms); chosen."""


@functools.cache
def _tables() -> tuple[Floats, Floats]:
    """The window, and the filters of shape (257, BANDS): triangles, equally spaced on the mel scale."""
    window = np.hanning(WINDOW + 1)[:WINDOW]
    low, high = (1127.0 * math.log1p(hertz / 700.0) for hertz in (LOW_HZ, HIGH_HZ))
    mel = 1127.0 * np.log1p(np.arange(WINDOW // 2 + 1) * RATE / WINDOW / 700.0)[:, None]
    width = (high - low) / (BANDS + 1)
    left = low + width * np.arange(BANDS)[None]
    filters = np.clip(np.minimum((mel - left) / width, (left + 2 * width - mel) / width), 0.0, None)
    filters[:, filters.sum(axis=0) == 0] = 0.0
    # Low bands are narrower than a line of the spectrum: each takes at least the nearest line.
    for band in np.flatnonzero(filters.sum(axis=0) < 0.5):
        filters[int(np.argmin(np.abs(mel[:, 0] - left[0, band] - width))), band] += 0.5
    return window.astype(np.float32), filters.astype(np.float32)


def bands_of(samples: Samples) -> Floats:
    """Natural logarithms of the powers of the bands of one frame.

    Args:
        samples: Of shape (WINDOW,).

    Returns:
        Of shape (BANDS,).
    """
    window, filters = _tables()
    spectrum = np.fft.rfft(samples.astype(np.float32) * window)
    power = (spectrum.real**2 + spectrum.imag**2).astype(np.float32) / WINDOW
    return np.asarray(np.log(power @ filters + np.float32(FLOOR)))


class FrameMaker:
    """Cuts sound into frames and computes their bands."""

    def __init__(self) -> None:
        self._rest: Samples = np.zeros(0, np.int16)
        self._still = 0

    def frames(self, samples: Samples) -> Iterator[Floats | None]:
        """Take samples; give the logarithms of the bands' powers.

        Args:
            samples: 16 bits, 16,000 a second, any number of them.

        Returns:
            An array of shape (BANDS,) for each frame that is complete by now, in natural logarithms; None for a frame
            with a gap.
        """
        self._rest = np.concatenate([self._rest, samples]) if self._rest.size else samples.copy()
        at = 0
        while self._rest.size - at >= WINDOW:
            now = self._rest[at : at + WINDOW]
            yield None if self._torn(now) else bands_of(now)
            at += HOP
        self._rest = self._rest[at:]

    def _torn(self, samples: Samples) -> bool:
        """Whether a frame has a gap; silence that lasts is none."""
        if samples.reshape(-1, GAP).any(axis=1).all():
            self._still = 0
            return False
        if int(samples.max()) > 1 or int(samples.min()) < -1:
            return True
        self._still += 1
        return self._still * FRAME_S <= STILL_S


class SlowMean:
    """The mean of each band, which a frame is compared with."""

    def __init__(self) -> None:
        self._mean: Floats | None = None
        self._count = 0

    def relative(self, bands: Floats) -> Floats:
        """The bands of the next frame over their mean, which takes them in; natural logarithms."""
        self._count += 1
        share = np.float32(max(1 / self._count, FRAME_S / SLOW_S))
        self._mean = bands if self._mean is None else self._mean + (bands - self._mean) * share
        return bands - self._mean
