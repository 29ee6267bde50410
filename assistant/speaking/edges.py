"""The edges and the level of a rendered sentence: nothing cut off, nothing clipped, no needless wait."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.speaking.speech import Samples

PEAK = 10 ** (-1 / 20)
"""Every sentence is scaled to this peak (-1 dBFS): as loud as possible for a noisy bay, without clipping."""

_SILENCE_DB = -55.0
"""Level under the peak of the sentence below which its edges count as silence.

An "f", "th" or "h" lies at -25 to -45 dB, and the softest beginnings, those of "no" and "not", swell from -60 to -40 dB
within 20 ms; the neural voice's own silence is below -85 dB, eSpeak NG's is zeros (65 sentences). Lower thresholds keep
breath that nobody hears: -60 dB delays the first sound by 16 ms more (median) and lengthens the end by 43 ms.
"""

_LEAD_S = 0.01
_TAIL_S = 0.04
_FADE_S = 0.004
"""Fade at either end, within what counts as silence, so that no step in it clicks."""

_FRAME_S = 0.02
_ACTIVE_DB = -30.0
"""Frames more than this below the loudest one are pauses, and do not count as speech."""


def trimmed(samples: Samples, rate: int) -> Samples:
    """The sentence without the silence at its two ends but for a little, so that the first sound comes quickly."""
    height = np.abs(samples.astype(np.int32))
    peak = int(np.max(height, initial=0))
    loud = np.flatnonzero(height > max(peak * 10 ** (_SILENCE_DB / 20), 1.0)) if peak else height[:0]
    if not loud.size:
        return samples[:0]
    start = max(0, int(loud[0]) - round(_LEAD_S * rate))
    end = min(len(samples), int(loud[-1]) + 1 + round(_TAIL_S * rate))
    kept = samples[start:end].copy()
    # A fade must not reach into the speech, which may begin with the first sample.
    _fade(kept, min(int(loud[0]) - start, round(_FADE_S * rate)))
    _fade(kept[::-1], min(end - 1 - int(loud[-1]), round(_FADE_S * rate)))
    return kept


def _fade(samples: Samples, length: int) -> None:
    """Fade in over so many samples, in place."""
    if length > 0:
        ramp = np.arange(length) / length
        samples[:length] = np.round(samples[:length] * ramp).astype(np.int16)


def levelled(samples: Samples, rate: int, active_rms: float | None = None) -> Samples:
    """The sentence at a peak of -1 dBFS, or softer if its active speech reaches this level before.

    Args:
        samples: Mono, 16 bits.
        rate: Sampling rate, Hz.
        active_rms: Root mean square of active speech (share of full scale) that is not to be exceeded; None for
            the peak alone.
    """
    peak = int(np.max(np.abs(samples.astype(np.int32)), initial=0))
    if not peak:
        return samples
    gain = PEAK * 32767 / peak
    if active_rms is not None:
        gain = min(gain, active_rms / active_level(samples, rate))
    return np.round(samples * gain).astype(np.int16)


def active_level(samples: Samples, rate: int) -> float:
    """Root mean square of the frames that hold speech, as a share of full scale; 0 for silence.

    A simple form of the active speech level of ITU-T P.56: frames of 20 ms within 30 dB of the loudest.
    """
    size = max(1, round(_FRAME_S * rate))
    whole = samples[: len(samples) // size * size] if len(samples) >= size else samples
    if not len(whole):
        return 0.0
    frames: NDArray[np.float64] = (whole.astype(np.float64) / 32768).reshape(-1, min(size, len(whole)))
    power = np.mean(frames**2, axis=1)
    active = power[power >= np.max(power) * 10 ** (_ACTIVE_DB / 10)]
    return float(np.sqrt(np.mean(active)))
