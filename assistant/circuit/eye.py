"""The eye: the visibility of a light's changes.

Temporal contrast sensitivity after Watson (1986), applied to the light relative to its mean:
``H = (1 + jwt)^-9 - 0.9 (1 + 1.33 jwt)^-10`` with t = 4.94 ms, scaled to a peak sensitivity of 200.
The visibility index is half the peak-to-peak of the response, in laboratory thresholds; a person in a shop sees
less well, so a class begins at 4 and not at 1 (chosen, not fitted).
The voltage flicker filter of IEC 61000-4-15 would be wrong here, because a 60 W mains lamp is built into it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

TIME_CONSTANT_S = 4.94e-3
PEAK_SENSITIVITY = 200.0

DARK = 0.003
"""Light below this share of the lamp on the battery counts as dark; chosen, not fitted."""
DIM = 0.35
"""Light below this share counts as dim; chosen, not fitted."""
STEADY_INDEX = 4.0
"""Below this visibility index a lamp looks steady; chosen, not fitted."""
LIKE_FEED = 1.6
"""Up to this many times the surge's index it looks like the feed; chosen, not fitted."""
DISTINCT = 3.0
"""From this many times the surge's index on it is distinct; chosen, not fitted."""


def response(hertz: Floats) -> NDArray[np.complex128]:
    """Complex temporal contrast sensitivity at these frequencies, in one over contrast."""
    turning = _turning(hertz)
    return np.asarray(_raw(turning) * (PEAK_SENSITIVITY / _PEAK))


def _turning(hertz: Floats) -> NDArray[np.complex128]:
    return np.asarray(2j * np.pi * hertz * TIME_CONSTANT_S, dtype=np.complex128)


def _raw(turning: NDArray[np.complex128]) -> NDArray[np.complex128]:
    return np.asarray((1 + turning) ** -9 - 0.9 * (1 + 1.33 * turning) ** -10)


_PEAK = float(np.abs(_raw(_turning(np.linspace(0.1, 60, 6000)))).max())


def seen(light: Floats, period: Floats) -> Floats:
    """The response of the eye to a periodic light, in thresholds.

    Args:
        light: Light over one period, shape ``(n, samples)``, equally spaced.
        period: Its duration in seconds, shape ``(n,)``.
    """
    samples = light.shape[1]
    mean = light.mean(axis=1, keepdims=True)
    spectrum = np.fft.rfft(light / np.maximum(mean, 1e-30) - 1, axis=1)
    harmonics = np.arange(spectrum.shape[1])
    # Harmonics beyond 150 Hz are invisible; leaving them out saves most of the work.
    kept = min(spectrum.shape[1], int(np.ceil(150 * float(period.max()))) + 1)
    spectrum[:, kept:] = 0
    spectrum[:, :kept] *= response(harmonics[None, :kept] / period[:, None])
    spectrum[:, 0] = 0
    return np.fft.irfft(spectrum, n=samples, axis=1)


def index_of(light: Floats, period: Floats) -> Floats:
    """Visibility index of a periodic light, shape ``(n,)``; 0 without light."""
    answer = seen(light, period)
    index = (answer.max(axis=1) - answer.min(axis=1)) / 2
    return np.where(light.mean(axis=1) > 0, index, 0.0)
