"""The sound of a session: each utterance as a FLAC file, which is lossless and opens in any player."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import soundfile

from assistant.core.values.events import Clip
from assistant.errors import RecordBroken
from assistant.record.header import CLIPS
from assistant.record.storage import sha256, write_file

if TYPE_CHECKING:
    from pathlib import Path

CLIP_RATE = 16_000
"""Samples a second of a clip, the same as the recogniser hears."""

_LONGEST_S = 600
"""Longest clip to read back: ten times the longest voice note, so that a wrong file does not fill the memory."""


def keep_clip(folder: Path, number: int, samples: npt.NDArray[np.int16]) -> Clip:
    """Store a piece of sound as ``clips/NNNN.flac``.

    Args:
        folder: The session folder.
        number: Number of the clip in the session.
        samples: One channel, 16 bits, `CLIP_RATE` samples a second.

    Raises:
        ValueError: The samples are of another kind.
        RecordProblem: It cannot be written; no part of it remains.
    """
    if samples.ndim != 1 or samples.dtype != np.int16:
        raise ValueError(f"a clip is one channel of int16, not {samples.ndim} of {samples.dtype}")
    flac = io.BytesIO()
    soundfile.write(flac, samples, CLIP_RATE, format="FLAC", subtype="PCM_16")
    data = flac.getvalue()
    name = f"{CLIPS}/{number:04d}.flac"
    write_file(folder / name, data)
    return Clip(name, sha256(data), round(samples.size / CLIP_RATE, 3))


def samples_of(data: bytes, name: str) -> npt.NDArray[np.int16]:
    """The sound of a clip: one channel, 16 bits, `CLIP_RATE` samples a second.

    Args:
        data: The bytes of its file.
        name: The file's name, for an error.

    Raises:
        RecordBroken: It is no such sound, or longer than a clip can be.
    """
    try:
        with soundfile.SoundFile(io.BytesIO(data)) as file:
            ours = file.channels == 1 and file.samplerate == CLIP_RATE
            if ours and file.frames <= _LONGEST_S * CLIP_RATE:
                samples: npt.NDArray[np.int16] = file.read(dtype="int16")
                return samples
    except soundfile.LibsndfileError as error:
        raise RecordBroken(f"{name} is no sound: {error.error_string}") from error
    raise RecordBroken(f"{name} is not sound as a session keeps it.")
