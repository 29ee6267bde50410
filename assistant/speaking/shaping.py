"""Makes the assistant's voice easier to understand in noise, without making its peaks any higher.

A loudspeaker and its amplifier are limited by the peak, so the strength has to come from inside the sentence: what
carries meaning (the formants and consonants between 1 and 4 kHz) is raised at the cost of the bass, which noise covers
anyway, and the quiet parts of speech are raised at the cost of the peaks.

After Zorila, Kandia and Stylianou, "Speech-in-noise intelligibility improvement based on spectral shaping and dynamic
range compression", Interspeech 2012. Their stages (from memory; the paper was not at hand): sharpening of the formants
of voiced speech; a filter that falls under 500 Hz and rises by 12 dB from 1 to 4 kHz; compression of the envelope by a
static curve; and in the end the same root mean square as before. Three things differ here:

* The peak stays, not the root mean square, because the peak is the limit of the device. A limiter that looks ahead
  takes the place of the paper's fast attack: it turns the sound down smoothly around each peak, so nothing is clipped.
* The formants are not sharpened: it changed nothing that counts (`README.md`) and costs as much as the rest.
* The compression raises by no more than `VoiceShape.most_db`, and what is far below the speech not at all, so breath
  and silence between words do not swell.
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
"""Highest peak of shaped speech: -1 dBFS, that of every sentence of the voice.

A converter that works out the curve between the samples (ITU-R BS.1770, "true peak") finds little more: shaped
speech has less above 8 kHz than plain speech."""


@dataclass(frozen=True)
class VoiceShape:
    """One strength of shaping.

    Attributes:
        low_db: Gain at 100 Hz and below; from there it rises to 0 dB at 500 Hz.
        presence_db: Gain from 1 to 4 kHz; it rises from 0 dB at 500 Hz, and is half of it from 8 kHz.
        ratio: Of the compression: so many dB of the envelope's range become one.
        most_db: By no more than this is a quiet part raised over the loudest.
        limit_db: By so much the limiter lowers the highest peak.
    """

    low_db: float
    presence_db: float
    ratio: float
    most_db: float
    limit_db: float


_SHAPES = (
    VoiceShape(-4.0, 3.0, 1.3, 5.0, 3.0),
    VoiceShape(-8.0, 6.0, 1.7, 10.0, 6.0),
    VoiceShape(-12.0, 9.0, 2.5, 15.0, 9.0),
)
"""The strengths, the last one full.

The full one was chosen on the tuning half of what the assistant says (`hearing_bench.listening.drawing`: sentences
whose SHA-256 begins with 0 to 7), with Whisper tiny as the listener, at -3 to -6 dB; the other half measures. The
optimum is broad: every other value below is within the chance of 40 to 60 sentences (2 to 3 points), except that
compression and limiter are indispensable. (-24 dB of bass and 6 dB of limiting were screened on sentences of both
halves, before these were drawn; neither was taken.)

* low_db -12: 0, -6 and -24 were no different. A small loudspeaker cannot give the bass anyway, and its cone moves
  farthest there.
* presence_db 9: 6 and 12 did as well in generated bay noise, 12 better in speech-shaped noise and 6 better in a
  reverberant bay.
* ratio 2.5: 4 was no different.
* most_db 15: 10 and no limit at all were no different, but without one the pauses between words rose from -41 to
  -20 dB below the loudest.
* limit_db 9: 6 leaves a decibel unused, and 12 was a little worse in noise like a whistle.

The others are a third and two thirds of it, in decibels.
"""

LEVELS = tuple(range(len(_SHAPES) + 1))
"""Strengths of shaping: 0 is none, the last one full."""

UNKNOWN = 2
"""The level while nobody has measured the noise: before the first second of listening, and without a microphone.

In quiet even the full level costs Whisper tiny no words (4 % wrong, plain 5 %), and in noise a plain voice costs whole
cautions. The full level would sound sharp for nothing in most bays."""

_UNDER_DB = (25.0, 18.0, 12.0)
"""Margins of near speech over the noise at the microphone, dB, under which the level goes up to 1, 2 and 3.

If the assistant is about as loud as a near voice, its mean stands 3 dB less above the noise (the margin is that of the
louder half of speech). Whisper tiny has 7 % of the plain voice's words wrong at 5 dB and 26 % at 0 dB, and 3 % at 5 dB
of the first level's (tuning half). So 8 dB of margin are the least; the rest, 17 dB for the first level and 4 dB for
the full one, is for a loudspeaker that is farther away than the technician's mouth or turned down (chosen, no
source)."""

_HYSTERESIS_DB = 4.0
"""The margin must be so much better before the level goes down again: more than the noise of one machine varies."""

_STEP_S = 0.002
"""The envelope and the gains are worked out once in so long; a period of the voice is 4 to 6 ms."""

_ENVELOPE_S = 0.012
"""Length of the smoothing of the envelope: two or three periods of the voice (in the paper 2.5)."""

_FADES_DB = (-55.0, -40.0)
"""Envelope below the loudest: under the first nothing is raised, over the second everything as it should be."""

_LOOK_S = 0.006
"""So long before and after a peak the limiter turns the sound down; about one period, so that vowels stay round."""

_CORNERS_HZ = (100.0, 500.0, 1000.0, 4000.0, 8000.0)
"""Corners of the filter, the paper's; under the first and over the last it is flat."""

_RINGS_S = 0.05
"""Room beside a sentence for the filter to ring out in, so that its end does not come out at its beginning."""


def shaped(samples: Samples, rate: int, level: int) -> Samples:
    """The same speech, shaped for noise; about 2 ms of one core for a second of speech.

    Args:
        samples: One sentence, mono, 16 bits; its loudest part is what the compression refers to.
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
    shape = _SHAPES[level - 1]
    speech = _filtered(samples.astype(np.float64) / peak, rate, shape)
    speech = speech * _compression(speech, rate, shape)
    speech = _limited(speech, rate, shape.limit_db)
    height = min(float(peak), np.floor(CEILING * 32767))
    return np.asarray(np.rint(speech * (height / _peak(speech))), dtype=np.int16)


def level_for(margin_db: float, now: int) -> int:
    """The level that belongs to a noise, with hysteresis.

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


def gain_db(frequency: Signal, level: int) -> Signal:
    """Gain of the filter of a level at these frequencies (Hz), dB: straight lines over the logarithm of frequency."""
    return _gain_db(frequency, _SHAPES[level - 1]) if level else np.zeros_like(frequency)


def _gain_db(frequency: Signal, shape: VoiceShape) -> Signal:
    high = shape.presence_db
    gains = (shape.low_db, 0.0, high, high, high / 2)
    return np.asarray(np.interp(np.log2(np.maximum(frequency, 1.0)), np.log2(_CORNERS_HZ), gains))


def _peak(speech: Signal) -> float:
    """The highest peak; never nothing, so that one can divide by it."""
    return max(float(np.max(np.abs(speech), initial=0.0)), 1e-9)


def _filtered(speech: Signal, rate: int, shape: VoiceShape) -> Signal:
    """Filtered without delay (linear phase), by one transform of the whole sentence."""
    size = _quick_size(len(speech) + round(_RINGS_S * rate))
    gains = 10 ** (_gain_db(np.fft.rfftfreq(size, 1 / rate).astype(np.float64), shape) / 20)
    filtered: Signal = np.fft.irfft(np.fft.rfft(speech, size) * gains, size)[: len(speech)]
    return filtered


def _quick_size(least: int) -> int:
    """The next length whose transform is quick: five to eight times a power of two."""
    power = 1 << max(0, (least - 1).bit_length() - 3)
    return power * -(-least // power)


def _by_step(values: Signal, step: int) -> Signal:
    """Values in rows of a step each, with zeros after the last."""
    count = -(-len(values) // step)
    rows = np.zeros(count * step)
    rows[: len(values)] = values
    return rows.reshape(count, step)


def _bell(reach: int) -> Signal:
    """Weights over `reach` steps on either side, a raised cosine; they add up to 1."""
    bell = np.hanning(2 * reach + 3)[1:-1]
    return np.asarray(bell / bell.sum())


def _compression(speech: Signal, rate: int, shape: VoiceShape) -> Signal:
    """Gain for each sample: the envelope, in dB below the loudest, is divided by the ratio."""
    step = max(1, round(_STEP_S * rate))
    reach = round(_ENVELOPE_S / _STEP_S / 2)
    power = np.mean(_by_step(speech**2, step), axis=1)
    power = np.convolve(power, _bell(reach))[reach : reach + len(power)]
    below_db = 10 * np.log10(np.maximum(power / max(float(np.max(power)), 1e-18), 1e-12))
    raised_db = np.minimum(below_db * (1 / shape.ratio - 1), shape.most_db)
    share = np.interp(below_db, _FADES_DB, (0.0, 1.0))
    return _each_sample(10 ** (raised_db * share / 20), step, len(speech))


def _limited(speech: Signal, rate: int, limit_db: float) -> Signal:
    """The peaks lowered by a gain that changes smoothly around them; no sample is above the limit.

    Each step's gain is a weighted mean of the lowest gains near it, each of which is low enough for that step, so the
    mean is as well.
    """
    step = max(1, round(_STEP_S * rate / 2))
    limit = _peak(speech) * 10 ** (-limit_db / 20)
    highest = np.max(_by_step(np.abs(speech), step), axis=1)
    enough = np.minimum(1.0, limit / np.maximum(highest, 1e-9))
    reach = max(1, round(_LOOK_S * rate / step))
    wide = reach + 1  # one more: between two steps the gain is a mixture of both
    near = np.lib.stride_tricks.sliding_window_view(
        np.pad(enough, reach + wide, constant_values=1.0), 2 * wide + 1
    )
    gain = np.convolve(np.min(near, axis=1), _bell(reach), mode="valid")
    return speech * _each_sample(gain, step, len(speech))


def _each_sample(gain: Signal, step: int, length: int) -> Signal:
    """A gain for each sample from one for the middle of each step, by straight lines."""
    middles = (np.arange(len(gain)) + 0.5) * step
    return np.asarray(np.interp(np.arange(length) + 0.5, middles, gain))
