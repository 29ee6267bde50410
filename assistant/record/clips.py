"""The sound of a session: each utterance as a FLAC file, which is lossless and opens in any player.

A clamp's capture of a current is kept beside it in the same way: one channel of 24 bits, a thousandth of an ampere a
step, at its own rate.
"""

from __future__ import annotations

import io
import threading
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import soundfile

from assistant.core.values.events import Clip
from assistant.errors import RecordBroken
from assistant.record.header import CLIPS
from assistant.record.storage import sha256, write_file

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

CLIP_RATE = 16_000
"""Samples a second of a clip, the same as the recogniser hears."""

_LONGEST_S = 600
"""Longest clip to read back: ten times the longest voice note, so that a wrong file does not fill the memory."""

STEP_A = 0.001
"""A step of a captured current, A: finer than any clamp (chosen)."""

_SHIFT = 256
"""The sound library holds 24 bits in the upper part of 32."""

_MOST_A = (2**23 - 1) * STEP_A
_FASTEST = 655_350
"""Samples a second that FLAC can name (RFC 9639, 8.2: 20 bits), and that its encoder takes."""

_LONGEST_CAPTURE_S = 60
"""Longest capture to read back: four times as long as anybody cranks."""


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
    return _kept(folder, number, samples, CLIP_RATE, "PCM_16")


def keep_capture(folder: Path, number: int, ampere: npt.NDArray[np.float64], rate: float) -> Clip:
    """Store a captured current as ``clips/NNNN.flac``.

    Args:
        folder: The session folder.
        number: Number of the clip in the session.
        ampere: The current in A, shape ``(t,)``, finite; beyond `_MOST_A` it is cut off.
        rate: Samples a second.

    Raises:
        ValueError: The samples are of another kind.
        RecordProblem: It cannot be written; no part of it remains.
    """
    whole_rate = round(rate)
    if ampere.ndim != 1 or not np.all(np.isfinite(ampere)) or not 0 < whole_rate <= _FASTEST:
        raise ValueError(f"a capture is one channel of finite samples, up to {_FASTEST} a second")
    steps = np.rint(np.clip(ampere, -_MOST_A, _MOST_A) / STEP_A).astype(np.int32)
    return _kept(folder, number, steps * _SHIFT, whole_rate, "PCM_24")


def _kept(folder: Path, number: int, samples: npt.NDArray[Any], rate: int, subtype: str) -> Clip:
    flac = io.BytesIO()
    soundfile.write(flac, samples, rate, format="FLAC", subtype=subtype)
    data = flac.getvalue()
    name = f"{CLIPS}/{number:04d}.flac"
    write_file(folder / name, data)
    return Clip(name, sha256(data), round(samples.size / rate, 3))


def ampere_of(data: bytes, name: str) -> tuple[npt.NDArray[np.float64], float]:
    """The current of a capture in A, shape ``(t,)``, and its samples a second.

    Args:
        data: The bytes of its file.
        name: The file's name, for an error.

    Raises:
        RecordBroken: It is no such file, or longer than a capture can be.
    """
    found = _read(data, f"{name} is no capture", "int32", _LONGEST_CAPTURE_S, subtype="PCM_24")
    if found is None:
        raise RecordBroken(f"{name} is no capture in the form in which a session keeps a current.")
    steps, rate = found
    return np.asarray(steps // _SHIFT * STEP_A, np.float64), float(rate)


def samples_of(data: bytes, name: str) -> npt.NDArray[np.int16]:
    """The sound of a clip: one channel, 16 bits, `CLIP_RATE` samples a second.

    Args:
        data: The bytes of its file.
        name: The file's name, for an error.

    Raises:
        RecordBroken: It is no such sound, or longer than a clip can be.
    """
    found = _read(data, f"{name} is no sound", "int16", _LONGEST_S, rate=CLIP_RATE)
    if found is None:
        raise RecordBroken(f"{name} is not sound as a session keeps it.")
    samples: npt.NDArray[np.int16] = found[0]
    return samples


def _read(
    data: bytes, complaint: str, dtype: str, longest_s: float, *, rate: int = 0, subtype: str = ""
) -> tuple[npt.NDArray[Any], int] | None:
    """The samples of one channel and how many there are a second; None if the file is of another kind, or longer."""
    try:
        with soundfile.SoundFile(io.BytesIO(data)) as file:
            kind = (file.channels, rate or file.samplerate, subtype or file.subtype)
            if kind == (1, file.samplerate, file.subtype) and file.frames <= longest_s * file.samplerate:
                return file.read(dtype=dtype), file.samplerate
    except soundfile.LibsndfileError as error:
        raise RecordBroken(f"{complaint}: {error.error_string}") from error
    return None


class ClipCount:
    """Numbers the clips of a session one after the other, whichever thread brings one."""

    def __init__(self) -> None:
        self.last = 0
        self._lock = threading.Lock()  # ear and clamp keep theirs on threads of their own

    def keep(self, keep: Callable[[int], Clip]) -> Clip:
        """Store a clip under the next number, which is used only if that succeeds."""
        with self._lock:
            clip = keep(self.last + 1)
            self.last += 1
        return clip


def clip_numbers(folder: Path) -> list[int]:
    """The numbers of the clips that a session folder has, in no order."""
    return [int(path.stem) for path in (folder / CLIPS).glob("*.flac") if path.stem.isdecimal()]
