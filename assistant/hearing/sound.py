"""Sound in the recogniser's form: one channel, 16 bits, 16,000 samples a second."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import numpy.typing as npt
import soundfile
import soxr

from assistant.errors import UsageProblem

if TYPE_CHECKING:
    from pathlib import Path

Samples: TypeAlias = npt.NDArray[np.int16]

RATE = 16_000
"""Samples a second: the recogniser and the voice-activity model were trained for this rate."""

LONGEST_S = 600.0
"""Longest sound file to read: ten minutes, so that a wrong file does not fill the memory."""

BLOCK = 65_536
"""Number of frames to read at once."""

MOST_FRAMES = 2**40
"""A longer length in a header means "unknown"."""

FULL_SCALE = 32_768.0
"""Amplitude of full scale of 16 bits: 0 dB."""

SILENCE_DB = -120.0
"""Level stated for digital silence, below the quietest that 16 bits can hold (-90 dB)."""


@dataclass(frozen=True)
class Sound:
    """The content of a sound file at `RATE`, and its length in s."""

    samples: Samples
    duration_s: float


def read_sound(path: Path) -> Sound:
    """Read a WAV or FLAC file of any rate and number of channels; channels are averaged.

    Raises:
        UsageProblem: There is no such file, it is not sound, is empty, damaged, or longer than `LONGEST_S`.
    """
    if path.is_dir():
        raise UsageProblem(f"{path} is a folder. Name a sound file (WAV or FLAC).")
    if not path.exists():
        raise UsageProblem(f"There is no file {path}. Name a sound file (WAV or FLAC).")
    if not path.is_file():
        raise UsageProblem(f"{path} is a device or a pipe. Name a sound file (WAV or FLAC).")
    try:
        with soundfile.SoundFile(path) as file:
            rate = file.samplerate
            # Read in blocks, so that many channels do not fill the memory; a header may state any length.
            blocks, read = [], 0
            for block in file.blocks(blocksize=BLOCK, dtype="float32", always_2d=True):
                if not len(block):
                    break
                with np.errstate(
                    invalid="ignore", over="ignore"
                ):  # values that are not numbers are refused below
                    blocks.append(block.mean(axis=1, dtype=np.float64).astype(np.float32))
                read += len(block)
                if read > LONGEST_S * rate:
                    stated = file.frames if file.frames < MOST_FRAMES else read
                    raise UsageProblem(
                        f"{path} is {stated / rate / 60:.0f} minutes long. Name a file of one spoken phrase, "
                        f"at most {LONGEST_S / 60:.0f} minutes."
                    )
            mixed = np.concatenate(blocks) if blocks else np.zeros(0, np.float32)
    except soundfile.LibsndfileError as error:
        why = "cannot be opened" if not _readable(path) else "is not a sound file, or is damaged"
        raise UsageProblem(f"{path} {why}. Name a WAV or FLAC file.") from error
    except OSError as error:
        raise UsageProblem(f"{path} cannot be read ({error.strerror}).") from error
    if mixed.size == 0:
        raise UsageProblem(f"{path} holds no sound: its length is zero.")
    if not np.isfinite(mixed).all():
        raise UsageProblem(f"{path} is damaged: it holds values that are not numbers.")
    if rate != RATE:
        mixed = soxr.resample(mixed, rate, RATE)
    whole = np.rint(np.clip(mixed, -1.0, 1.0) * FULL_SCALE)
    samples = np.clip(whole, -FULL_SCALE, FULL_SCALE - 1).astype(np.int16)
    if samples.size == 0:
        raise UsageProblem(f"{path} holds no sound: it is shorter than one sample at {RATE} Hz.")
    return Sound(samples, read / rate)


def stated_length_s(path: Path) -> float:
    """The length of a sound file as its header states it, s, at most `LONGEST_S`; 0 if nothing can be read of it."""
    try:
        found = soundfile.info(path) if path.is_file() else None
    except (soundfile.LibsndfileError, OSError):
        found = None
    return min(found.frames / found.samplerate, LONGEST_S) if found and found.samplerate else 0.0


def _readable(path: Path) -> bool:
    try:
        with path.open("rb"):
            return True
    except OSError:
        return False


def power(samples: npt.NDArray[np.generic]) -> float:
    """Mean square of samples, full scale being 1; 0 for none."""
    if samples.size == 0:
        return 0.0
    scaled = samples.astype(np.float64) / FULL_SCALE
    return float(np.mean(scaled**2))


def decibels(mean_square: float) -> float:
    """Level of a mean square relative to full scale (a square wave of full scale is 0 dB), at least `SILENCE_DB`."""
    return max(SILENCE_DB, 10.0 * math.log10(mean_square)) if mean_square > 0 else SILENCE_DB


def level_db(samples: npt.NDArray[np.generic]) -> float:
    """Level of samples, dB relative to full scale."""
    return decibels(power(samples))
