"""The Speech Intelligibility Index of ANSI S3.5-1997 (R2017), by its one-third-octave procedure.

From the spectrum levels of speech and noise at the ear it says which share of the cues of speech a person with normal
hearing can use: 0 none, 1 all.
It knows nothing of words or of time, so a listener is measured beside it.

The standard itself was not at hand. The numbers of its Table 3 stand in two public programs that agree to the last
digit: the working group's own, as translated in ``google/speech_intelligibility_index`` (Apache-2.0), and the R package
SII 1.0.3. The procedure follows the formulas as these describe them, and `tests` check it against the working group's
test cases and Annex C.2.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

Bands = NDArray[np.float64]
"""One value for each of the bands of `CENTRES`."""

CENTRES: Bands = np.array(
    [160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000],
    float,
)
"""Centres of the bands, Hz."""

IMPORTANCE: Bands = np.array(
    [
        *(0.0083, 0.0095, 0.0150, 0.0289, 0.0440, 0.0578, 0.0653, 0.0711, 0.0818),
        *(0.0844, 0.0882, 0.0898, 0.0868, 0.0844, 0.0771, 0.0527, 0.0364, 0.0185),
    ]
)
"""Band-importance function of average speech (Table 3); its sum is 1."""

NORMAL: Bands = np.array(
    [
        *(32.41, 34.48, 34.75, 33.98, 34.59, 34.27, 32.06, 28.30, 25.01),
        *(23.00, 20.15, 17.32, 13.18, 11.55, 9.33, 5.31, 2.59, 1.13),
    ]
)
"""Spectrum level of speech with normal effort at 1 m (Table 3), dB SPL; 62.35 dB SPL in all."""

INTERNAL: Bands = np.array(
    [
        *(0.6, -1.7, -3.9, -6.1, -8.2, -9.7, -10.8, -11.9, -12.5),
        *(-13.5, -15.4, -17.7, -21.2, -24.2, -25.9, -23.6, -15.8, -7.1),
    ]
)
"""Spectrum level of the ear's own noise (Table 3), dB SPL."""

_SELF_MASKING_DB = 24.0
_LOUD_DB = 10.0
_LOUD_RANGE_DB = 160.0
_PEAKS_DB = 15.0
_RANGE_DB = 30.0


def audible(speech: ArrayLike, noise: ArrayLike, threshold: ArrayLike = 0.0) -> Bands:
    """Share of each band that can be used, after masking and level distortion (clauses 5.4 to 5.8).

    Args:
        speech: Equivalent spectrum level of the speech in each band, dB SPL (in 1 Hz).
        noise: The same of the noise.
        threshold: Hearing threshold, dB HL; 0 is normal hearing.
    """
    spoken, noisy = _bands(speech), _bands(noise)
    disturbed = np.maximum(masking(spoken, noisy), INTERNAL + _bands(threshold))
    heard = np.clip((spoken - disturbed + _PEAKS_DB) / _RANGE_DB, 0, 1)
    undistorted = np.clip(1 - (spoken - NORMAL - _LOUD_DB) / _LOUD_RANGE_DB, 0, 1)
    return np.asarray(heard * undistorted)


def masking(speech: ArrayLike, noise: ArrayLike) -> Bands:
    """Equivalent masking spectrum level, dB SPL: noise, the speech itself, and their spread upwards (clause 5.4)."""
    spoken, noisy = _bands(speech), _bands(noise)
    masker = np.maximum(noisy, spoken - _SELF_MASKING_DB)
    slope = -80 + 0.6 * (masker + 10 * np.log10(CENTRES) - 6.353)
    masked = masker.copy()
    for band in range(1, len(CENTRES)):
        octaves = 3.32 * np.log10(0.89 * CENTRES[band] / CENTRES[:band])
        spread = np.sum(10 ** ((masker[:band] + slope[:band] * octaves) / 10))
        masked[band] = 10 * np.log10(10 ** (noisy[band] / 10) + spread)
    return masked


def index(
    speech: ArrayLike, noise: ArrayLike, threshold: ArrayLike = 0.0, importance: ArrayLike = IMPORTANCE
) -> float:
    """The Speech Intelligibility Index; arguments as `audible`, and the importance of each band."""
    return float(np.sum(_bands(importance) * audible(speech, noise, threshold)))


def spectrum_level(signal: NDArray[np.float64], rate: int) -> Bands:
    """Spectrum level of a signal in each band, dB relative to a mean square of 1 in 1 Hz.

    A band reaches a sixth of an octave to each side of its centre; what the sampling rate cannot hold is silent.
    """
    power = np.abs(np.fft.rfft(signal)) ** 2 / len(signal) ** 2
    power[1 : (len(signal) + 1) // 2] *= 2  # each of these stands for two frequencies, plus and minus
    frequency = np.fft.rfftfreq(len(signal), 1 / rate)
    below = np.concatenate([[0.0], np.cumsum(power)])
    edges = CENTRES * 2 ** (-1 / 6), CENTRES * 2 ** (1 / 6)
    low, high = (below[np.searchsorted(frequency, edge)] for edge in edges)
    return np.asarray(10 * np.log10(np.maximum(high - low, 1e-30) / (edges[1] - edges[0])))


def _bands(values: ArrayLike) -> Bands:
    return np.broadcast_to(np.asarray(values, float), CENTRES.shape)
