"""Makes the assistant's voice easier to understand in noise, without making its peaks any higher.

A loudspeaker is limited by its peak, so the strength has to come from inside the sentence: what carries meaning (the
consonants and the formants between 1 and 4 kHz) is raised at the cost of what noise covers anyway, and the quiet
parts of speech are raised at the cost of the peaks.

After Zorila, Kandia and Stylianou, "Speech-in-noise intelligibility improvement based on spectral shaping and
dynamic range compression", Interspeech 2012. Their stages (from memory): an adaptive sharpening of formants, a fixed
filter that falls under 500 Hz and rises from 1 to 4 kHz, compression of the envelope by a static curve after a
smoothing with attack and release, and the same root mean square as before. Here: the fixed filter, the compression, a
limiter that looks ahead, and the same peak as before.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from assistant.speaking.speech import Samples

Signal = NDArray[np.float64]

CEILING = 10 ** (-1 / 20)
"""Highest peak of shaped speech: -1 dBFS, that of every sentence of the voice."""


@dataclass(frozen=True)
class VoiceShape:
    """One strength of shaping.

    Attributes:
        low_db: Gain at 100 Hz and below, falling from 0 dB at 500 Hz; negative.
        presence_db: Gain from 1 to 4 kHz over that at 500 Hz.
        ratio: Of the compression: so many dB of range of the envelope become one.
        limit_db: By so much the limiter lowers the peaks that remain.
    """

    low_db: float
    presence_db: float
    ratio: float
    limit_db: float


_STRENGTHS = (
    VoiceShape(-4.0, 2.0, 1.3, 2.0),
    VoiceShape(-8.0, 4.0, 1.8, 4.0),
    VoiceShape(-12.0, 6.0, 2.5, 6.0),
)

LEVELS = tuple(range(len(_STRENGTHS) + 1))
"""Strengths of shaping: 0 is none, the last one full."""

_UNDER_DB = (25.0, 17.0, 9.0)
"""Margins of near speech over the noise under which the level goes up to 1, 2, 3."""

_HYSTERESIS_DB = 4.0
"""The margin must be so much better before the level goes down again."""

_STEP_S = 0.002
"""The envelope and the gains are worked out once in so long."""

_ENVELOPE_S = 0.012
"""Length of the smoothing of the envelope: two or three periods of a voice."""

_FLOOR_DB = -40.0
"""Envelope below the loudest under which nothing is raised: pauses and breath stay where they were."""

_KNEE_DB = -10.0
"""Envelope below the loudest under which the ratio applies in full."""

_LOOK_S = 0.006
"""So long before and after a peak the limiter turns the sound down."""


def shaped(samples: Samples, rate: int, level: int) -> Samples:
    """The same speech, shaped for noise.

    Args:
        samples: Mono, 16 bits.
        rate: Sampling rate, Hz.
        level: One of `LEVELS`; at 0 the samples are returned as they are.

    Returns:
        As many samples; their peak is that of `samples`, or `CEILING` if that is lower.

    Raises:
        ValueError: There is no such level.
    """
    if level not in LEVELS:
        raise ValueError(f"there is no level {level} of shaping; there are {LEVELS}")
    peak = int(np.max(np.abs(samples.astype(np.int32)), initial=0))
    if level == 0 or peak == 0:
        return samples
    shape = _STRENGTHS[level - 1]
    speech = _equalised(samples.astype(np.float64) / peak, rate, shape)
    speech = speech * _compression(speech, rate, shape)
    speech = _limited(speech, rate, shape)
    height = min(float(peak), np.floor(CEILING * 32767))
    return np.asarray(np.rint(speech * (height / max(float(np.max(np.abs(speech))), 1e-9))), dtype=np.int16)


def level_for(margin_db: float, now: int) -> int:
    """The strength that belongs to a noise, with hysteresis.

    Args:
        margin_db: Level of near speech over the noise, dB, both at the microphone.
        now: The present level.

    Returns:
        The level, one of `LEVELS`.
    """
    while now < LEVELS[-1] and margin_db < _UNDER_DB[now]:
        now += 1
    while now > 0 and margin_db > _UNDER_DB[now - 1] + _HYSTERESIS_DB:
        now -= 1
    return now


def gain_db(frequency: NDArray[np.float64], level: int) -> NDArray[np.float64]:
    """Gain of the fixed filter of a level at these frequencies (Hz), dB; straight lines over the logarithm."""
    if level == 0:
        return np.zeros_like(frequency)
    return _gain_db(frequency, _STRENGTHS[level - 1])


def _gain_db(frequency: NDArray[np.float64], shape: VoiceShape) -> NDArray[np.float64]:
    high = shape.presence_db
    corners = np.log2([100.0, 500.0, 1000.0, 4000.0, 8000.0])
    gains = [shape.low_db, 0.0, high, high, high / 2]
    return np.asarray(np.interp(np.log2(np.maximum(frequency, 1.0)), corners, gains))


def _equalised(speech: Signal, rate: int, shape: VoiceShape) -> Signal:
    """Filtered without delay (linear phase), by one transform of the whole sentence."""
    size = _fast_size(len(speech) + round(0.05 * rate))
    gains = 10 ** (_gain_db(np.fft.rfftfreq(size, 1 / rate).astype(np.float64), shape) / 20)
    filtered: Signal = np.fft.irfft(np.fft.rfft(speech, size) * gains, size)[: len(speech)]
    return filtered


def _fast_size(least: int) -> int:
    """The next length whose transform is quick: a small multiple of a power of two."""
    power = 1 << max(0, (least - 1).bit_length() - 3)
    return power * -(-least // power)


def _envelope(speech: Signal, step: int, reach: int) -> Signal:
    """Root mean square of each step, smoothed over `reach` steps on either side."""
    count = -(-len(speech) // step)
    squares = np.zeros(count * step)
    squares[: len(speech)] = speech**2
    power = squares.reshape(count, step).mean(axis=1)
    window = np.hanning(2 * reach + 3)[1:-1]
    smoothed = np.convolve(power, window / window.sum())[reach : reach + count]
    return np.sqrt(np.maximum(smoothed, 0.0))


def _compression(speech: Signal, rate: int, shape: VoiceShape) -> Signal:
    """Gain for each sample, from the envelope by the static curve."""
    step = max(1, round(_STEP_S * rate))
    envelope = _envelope(speech, step, round(_ENVELOPE_S / _STEP_S / 2))
    level_db = 20 * np.log10(np.maximum(envelope / max(float(np.max(envelope)), 1e-9), 1e-6))
    slope = 1 - 1 / shape.ratio
    most = -slope * (_FLOOR_DB - _KNEE_DB / 2) / 2
    raised = -slope * level_db
    raised = np.minimum(raised, most)
    under = np.clip((level_db - (_FLOOR_DB - 15)) / 15, 0.0, 1.0)
    return _each_sample(10 ** (raised * under / 20), step, len(speech))


def _limited(speech: Signal, rate: int, shape: VoiceShape) -> Signal:
    """The peaks lowered by a gain that changes smoothly around them; exact: no sample is above the limit."""
    step = max(1, round(_STEP_S * rate) // 2)
    limit = float(np.max(np.abs(speech))) * 10 ** (-shape.limit_db / 20)
    count = -(-len(speech) // step)
    held = np.zeros(count * step)
    held[: len(speech)] = np.abs(speech)
    gain = np.minimum(1.0, limit / np.maximum(held.reshape(count, step).max(axis=1), 1e-9))
    reach = max(1, round(_LOOK_S * rate / step))
    padded = np.pad(gain, reach + 1, constant_values=1.0)
    lowest = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 3).min(axis=1)
    window = np.hanning(2 * reach + 3)[1:-1]
    smooth = np.convolve(np.pad(lowest, reach, mode="edge"), window / window.sum(), mode="valid")
    return speech * _each_sample(smooth, step, len(speech))


def _each_sample(gain: Signal, step: int, length: int) -> Signal:
    """A gain for each sample from one for the middle of each step, by straight lines."""
    middles = (np.arange(len(gain)) + 0.5) * step
    return np.asarray(np.interp(np.arange(length), middles, gain))
