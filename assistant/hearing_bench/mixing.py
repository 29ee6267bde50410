"""Speech in noise at an exact ratio, and the cutting and joining of its pieces.

Signals are arrays of floating-point samples at `RATE`, full scale being 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import soxr
from numpy.typing import NDArray

from assistant.hearing.baynoise import bay_noise
from assistant.hearing.sound import FULL_SCALE, RATE, Samples

if TYPE_CHECKING:
    from assistant.speaking.speech import SpokenSound

Signal = NDArray[np.float64]

FRAME = RATE // 50
"""Length of a frame, in which someone speaks or not: 20 ms."""

ACTIVE_DB = -35.0
"""A frame counts as speech down to this level below the loudest one."""

CEILING = 10 ** (-1 / 20)
"""Highest peak of a mixture: 1 dB below full scale; a louder mixture is turned down as a whole."""

CLEAN_DB = 50.0
"""Ratio of "clean" speech; digital silence does not exist at a microphone."""


@dataclass(frozen=True)
class Mixture:
    """Speech in noise.

    Attributes:
        samples: 16 bits at `RATE`.
        began_s: Beginning of the speech.
        ended_s: End of the speech.
    """

    samples: Samples
    began_s: float
    ended_s: float

    @property
    def duration_s(self) -> float:
        """Length in s."""
        return len(self.samples) / RATE


def rendered_signal(sound: SpokenSound) -> Signal:
    """A sentence that a voice of the assistant has rendered, at `RATE`."""
    return np.asarray(soxr.resample(sound.samples / FULL_SCALE, sound.rate, RATE), np.float64)


def speaking(speech: Signal, frame: int = FRAME) -> NDArray[np.bool_]:
    """Whether each frame of so many samples holds speech; a rest shorter than a frame is ignored."""
    count = len(speech) // frame
    power = np.mean(speech[: count * frame].reshape(count, frame) ** 2, axis=1) if count else np.zeros(0)
    return np.asarray(power > np.max(power, initial=1e-12) * 10 ** (ACTIVE_DB / 10))


def speech_power(speech: Signal, frame: int = FRAME) -> float:
    """Mean square over the frames with speech; over all frames if there are none."""
    active = speaking(speech, frame)
    if not active.any():
        return float(np.mean(speech**2)) if speech.size else 0.0
    return float(np.mean(speech[: len(active) * frame].reshape(-1, frame)[active] ** 2))


def trimmed(speech: Signal) -> Signal:
    """The same speech without the parts before its first and after its last frame of speech."""
    active = np.flatnonzero(speaking(speech))
    return speech[active[0] * FRAME : (active[-1] + 1) * FRAME] if active.size else speech


def at_level(speech: Signal, level_db: float) -> Signal:
    """The same speech at a level in dB relative to full scale, measured over the frames with speech."""
    power = speech_power(speech)
    return speech * (10 ** (level_db / 20) / np.sqrt(power)) if power > 0 else speech


def at_power(noise: Signal, level_db: float) -> Signal:
    """The same noise at a level in dB relative to full scale, measured over all of it."""
    power = float(np.mean(noise**2)) if noise.size else 0.0
    return noise * (10 ** (level_db / 20) / np.sqrt(power)) if power > 0 else noise


def stretched(speech: Signal, factor: float) -> Signal:
    """Slower and lower by a factor (1.08 is 8 per cent longer); rate, pitch and formants move together."""
    if factor == 1:
        return speech
    return np.asarray(soxr.resample(speech, RATE, RATE * factor), dtype=np.float64)


def mix(speech: Signal, noise: Signal, ratio_db: float, lead: int) -> Signal:
    """Speech in noise.

    The ratio compares the power of the frames with speech with that of the noise under the whole speech.

    Args:
        speech: The speech, which is left unchanged.
        noise: Noise for before, under and after the speech; it is scaled.
        ratio_db: Ratio of speech to noise, dB.
        lead: Samples of noise before the speech.

    Raises:
        ValueError: The noise is too short or silent.
    """
    part = noise[lead : lead + len(speech)]
    if len(part) < len(speech):
        raise ValueError("the noise is shorter than the speech")
    noise_power = float(np.mean(part**2)) if part.size else 0.0
    if noise_power <= 0:
        raise ValueError("the noise is silent where the speech lies")
    mixed: Signal = noise * np.sqrt(speech_power(speech) / noise_power / 10 ** (ratio_db / 10))
    mixed[lead : lead + len(speech)] += speech
    return mixed


def in_noise(
    speech: Signal, kind: str, ratio_db: float, seed: int, *, lead_s: float, tail_s: float, level_db: float
) -> Mixture:
    """Speech at a level, in bay noise of a kind, as a microphone would deliver it.

    Args:
        speech: Trimmed speech; its last sample is the end of speech.
        kind: Kind of noise of `assistant.hearing.baynoise`.
        ratio_db: Ratio of speech to noise, dB.
        seed: Seed of the noise.
        lead_s: Noise before the speech, s.
        tail_s: Noise after it, s.
        level_db: Level of the speech, dB relative to full scale; less if a peak would not fit.
    """
    lead = round(lead_s * RATE)
    length = lead + len(speech) + round(tail_s * RATE)
    noise = bay_noise(kind, length / RATE, RATE, seed)
    mixed = mix(at_level(speech, level_db), noise, ratio_db, lead)
    return Mixture(to_samples(mixed), lead / RATE, (lead + len(speech)) / RATE)


def to_samples(signal: Signal) -> Samples:
    """16-bit samples; a signal with a peak above the ceiling is turned down as a whole."""
    peak = float(np.max(np.abs(signal), initial=0.0))
    scaled = signal * (CEILING / peak) if peak > CEILING else signal
    return np.rint(scaled * FULL_SCALE).astype(np.int16)


def from_samples(samples: Samples) -> Signal:
    """The reverse of `to_samples`."""
    return samples.astype(np.float64) / FULL_SCALE


def joined(pieces: list[Signal], pauses_s: list[float], level_db: float) -> Signal:
    """Single words as one utterance: each trimmed and at one level, with silence between them.

    Args:
        pieces: One piece for each word.
        pauses_s: Pauses between the words, one less than pieces, s.
        level_db: Level of each word.
    """
    parts: list[Signal] = []
    for number, piece in enumerate(pieces):
        if number:
            parts.append(np.zeros(round(pauses_s[number - 1] * RATE)))
        parts.append(at_level(trimmed(piece), level_db))
    return np.concatenate(parts)
