"""What a microphone, a room or a line does to sound: levels, clipping, reverberation, a telephone's band."""

from __future__ import annotations

import numpy as np
import soxr

from assistant.hearing.sound import FULL_SCALE, RATE, Samples
from assistant.hearing_bench.mixing import Signal, at_level

TELEPHONE_HZ = (300.0, 3400.0)
"""Band of a telephone (ITU-T G.712), Hz."""

LINE_RATE = 8000
"""Sampling rate of a telephone line (ITU-T G.711), Hz."""

MU = 255
"""Constant of the companding of ITU-T G.711, mu-law."""

DIRECT_DB = 0.0
"""Power of the sound that comes straight, relative to that of the room's, dB: about the distance at which both are
equal (chosen)."""


def clipped(signal: Signal, over_db: float) -> Samples:
    """16-bit samples of sound whose highest peak lies this far over full scale, cut off there."""
    peak = float(np.max(np.abs(signal), initial=1e-9))
    loud = signal * (10 ** (over_db / 20) / peak)
    return np.rint(np.clip(loud, -1, 1 - 1 / FULL_SCALE) * FULL_SCALE).astype(np.int16)


def quantised(signal: Signal) -> Samples:
    """16-bit samples without any change of level."""
    return np.rint(np.clip(signal, -1, 1 - 1 / FULL_SCALE) * FULL_SCALE).astype(np.int16)


def in_room(signal: Signal, seconds: float, seed: int) -> Signal:
    """The same sound in a room: straight, and as exponentially decaying noise from 5 ms on.

    The decay is 60 dB within the reverberation time (ISO 3382-2); the rest of the model is Polack's (from memory).

    Args:
        signal: The sound near the mouth.
        seconds: Reverberation time.
        seed: Seed of the room.
    """
    count = round(seconds * RATE)
    time = np.arange(count) / RATE
    tail = np.random.default_rng(seed).normal(size=count) * 10 ** (-3 * time / seconds)
    tail[: round(0.005 * RATE)] = 0
    tail *= 10 ** (-DIRECT_DB / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1
    length = len(signal) + count - 1
    wet = np.fft.irfft(np.fft.rfft(signal, length) * np.fft.rfft(tail, length), length)
    return np.asarray(wet, dtype=np.float64)


def by_telephone(signal: Signal) -> Signal:
    """The same sound through a telephone: its band, its rate, and eight bits with mu-law companding."""
    low, high = TELEPHONE_HZ
    frequency = np.maximum(np.fft.rfftfreq(len(signal), 1 / RATE), 1e-3)
    gain = 1 / np.sqrt(
        (1 + (low / frequency) ** 8) * (1 + (frequency / high) ** 8)
    )  # Butterworth, fourth order
    band = np.fft.irfft(np.fft.rfft(signal) * gain, len(signal))
    narrow = soxr.resample(band, RATE, LINE_RATE)
    peak = float(np.max(np.abs(narrow), initial=1e-9))
    small = np.sign(narrow) * np.log1p(MU * np.abs(narrow) / peak) / np.log1p(MU)
    coded = np.rint(small * 127) / 127
    back = np.sign(coded) * np.expm1(np.abs(coded) * np.log1p(MU)) / MU * peak
    return np.asarray(soxr.resample(back, LINE_RATE, RATE), dtype=np.float64)


def padded(speech: Signal, level_db: float, lead_s: float, tail_s: float) -> Signal:
    """Speech at a level between silences."""
    return np.concatenate(
        [np.zeros(round(lead_s * RATE)), at_level(speech, level_db), np.zeros(round(tail_s * RATE))]
    )
