"""The sound of a session: each utterance as a FLAC file, which is lossless and opens in any player."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import soundfile

from assistant.core.values.events import Clip
from assistant.record.header import CLIPS
from assistant.record.storage import sha256, write_file

if TYPE_CHECKING:
    from pathlib import Path

CLIP_RATE = 16_000
"""Samples a second of a clip, the same as the recogniser hears."""


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
