"""Keeps the voice in the foreground: turns down what is far quieter than it, and brings it to one level.

The recogniser was trained on one voice at a time, at levels near `SPEECH_DB`. Another voice in the background, 24 dB
under the speaker, is silence to a person, but to the recogniser the pauses of an answer are then full of words.
`prepared` is the one way to the recogniser: the ear, files, benchmarks, calibration and training all see its sound.
It is pure and knows nothing but the sound and, if given, how loud the voice is expected.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.sound import FULL_SCALE, RATE, SILENCE_DB

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.hearing.sound import Samples

FRAME = RATE // 100
"""Samples of a frame: 10 ms. Levels and gains go by frames."""

SPEECH_DB = -19.0
"""Level, in dB relative to full scale, to which the loudest frames of speech (`LOUD`) are brought; the mean of speech
then lies 4 to 6 dB lower, in the middle of the levels that the acoustic model was trained on (-38 to -14 dB)."""

LOUD = 95.0
"""Percentile of the frames' levels that counts as the level of the voice."""

MOST_GAIN_DB = 45.0
"""Most by which sound is made louder, so that a microphone that is switched off does not become a storm."""

LOWEST_HZ, HIGHEST_HZ = 150.0, 6000.0
"""Frequencies by which the level of speech is judged: no hum, no rumble of an engine, no hiss."""


@dataclass(frozen=True)
class Gate:
    """How the gate turns down what lies far under the voice.

    It opens for a frame that is nearly as loud as the voice, and is then more patient with softer ones beside it: the
    peaks of another voice 12 dB under the technician do not reach the one limit, and a word's soft end the other.

    Attributes:
        peak_db: Frames up to so much under the level of the voice open the gate.
        soft_db: Frames up to so much under it belong to the voice if they are within `near_s` of such a frame.
        near_s: See `soft_db`.
        opens_s: Time before a frame of the voice for which the gate opens already, for soft first sounds.
        holds_s: Time after it for which the gate stays open, for soft last sounds.
        closed_db: By how much the background is turned down.
    """

    peak_db: float = 8.0
    soft_db: float = 15.0
    near_s: float = 0.2
    opens_s: float = 0.12
    holds_s: float = 0.12
    closed_db: float = 34.0


DEFAULT_GATE = Gate()


def levels(samples: Samples) -> NDArray[np.float32]:
    """Level of each frame of 10 ms within the frequencies of speech, dB relative to full scale; none for no sound."""
    count = -(-samples.size // FRAME)
    if not count:
        return np.zeros(0, np.float32)
    padded = np.zeros((count + 1) * FRAME, np.float32)
    padded[FRAME // 2 : FRAME // 2 + samples.size] = samples
    padded /= np.float32(FULL_SCALE)
    frames = np.lib.stride_tricks.sliding_window_view(padded, 2 * FRAME)[::FRAME] * _WINDOW
    spectra = np.abs(np.fft.rfft(frames, axis=1)[:, _HEARD]) ** 2
    powers = 2 * spectra.sum(axis=1) / np.float32(2 * FRAME * np.sum(_WINDOW**2))
    return np.asarray(10 * np.log10(np.maximum(powers, 10 ** (SILENCE_DB / 10))), np.float32)


_WINDOW = np.hanning(2 * FRAME).astype(np.float32)
_LINES = np.fft.rfftfreq(2 * FRAME, 1 / RATE)
_HEARD = (_LINES >= LOWEST_HZ) & (_LINES <= HIGHEST_HZ)


def loudness(found: NDArray[np.float32]) -> float:
    """Level of the voice in frames of these levels, dB relative to full scale; `SILENCE_DB` for none."""
    return float(np.percentile(found, LOUD)) if found.size else SILENCE_DB


def opened(found: NDArray[np.float32], voice_db: float, gate: Gate = DEFAULT_GATE) -> NDArray[np.bool_]:
    """The frames in which the gate is open, for a voice of this level."""
    peaks = found >= voice_db - gate.peak_db
    near = _spread(peaks, gate.near_s, gate.near_s) & (found >= voice_db - gate.soft_db)
    return _spread(peaks, gate.opens_s, gate.holds_s) | near


def _spread(frames: NDArray[np.bool_], before_s: float, after_s: float) -> NDArray[np.bool_]:
    """These frames and those shortly before and after them."""
    if not frames.size:
        return frames
    before, after = round(before_s * RATE / FRAME), round(after_s * RATE / FRAME)
    spread = np.convolve(frames, np.ones(before + after + 1))[before : before + frames.size]
    return np.asarray(spread > 0.5)


def gains(found: NDArray[np.float32], voice_db: float, gate: Gate = DEFAULT_GATE) -> NDArray[np.float32]:
    """By how much each frame is made louder, dB, for a voice of this level."""
    gain = min(SPEECH_DB - voice_db, MOST_GAIN_DB)
    return np.where(opened(found, voice_db, gate), gain, gain - gate.closed_db).astype(np.float32)


def prepared(samples: Samples, voice_db: float | None = None, gate: Gate = DEFAULT_GATE) -> Samples:
    """The sound of a whole utterance as the recogniser gets it, as long as it was.

    Args:
        samples: Sound with somebody's answer in it.
        voice_db: Level of the voice by `loudness`, dB relative to full scale; None to take the sound's own.
        gate: The gate.
    """
    found = levels(samples)
    return turned(samples, gains(found, loudness(found) if voice_db is None else voice_db, gate))


def turned(samples: Samples, gains_db: NDArray[np.float32]) -> Samples:
    """Sound with the gain of each frame, dB; from the middle of one frame to the next it changes evenly."""
    if not samples.size:
        return samples
    middles = np.arange(gains_db.size) * FRAME + FRAME / 2
    smooth = np.interp(np.arange(samples.size), middles, 10 ** (gains_db / 20))
    return np.clip(np.rint(samples * smooth), -FULL_SCALE, FULL_SCALE - 1).astype(np.int16)
