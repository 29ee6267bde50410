"""A sound track: what both sides of a session said, on one time line in one sound file."""

from __future__ import annotations

import importlib
import math
import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from assistant.errors import GearProblem
from assistant.speaking.speech import resample

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.speaking.speech import Samples


@dataclass(frozen=True)
class _Placed:
    at: float
    samples: NDArray[np.float32]
    pan: float


class SoundTrack:
    """Both voices on one time line: the assistant left of centre, the technician right of it.

    Args:
        rate: Sampling rate of the track, Hz.
    """

    _PAN = 0.55
    """Share of the way from the centre (0) to one side (1): apart, yet both in both ears."""

    _EDGE_S = 0.008
    """Each piece fades in and out over this time, so that noise in a clip does not click."""

    def __init__(self, rate: int = 22050) -> None:
        self.rate = rate
        self._pieces: list[_Placed] = []
        self._lock = threading.Lock()

    def add_assistant(self, at: float, samples: Samples, rate: int) -> None:
        """Place what the assistant says; it begins `at` seconds after the start of the track."""
        self._add(at, samples, rate, -self._PAN)

    def add_technician(self, at: float, samples: Samples, rate: int) -> None:
        """Place what the technician says."""
        self._add(at, samples, rate, self._PAN)

    @property
    def duration_s(self) -> float:
        """End of the last piece, s."""
        return max((piece.at + len(piece.samples) / self.rate for piece in self._pieces), default=0.0)

    def render(self) -> NDArray[np.int16]:
        """The mix, shape (frames, 2); turned down as a whole if it would clip."""
        with self._lock:
            pieces = list(self._pieces)
        mix = np.zeros((math.ceil(self.duration_s * self.rate) + 1, 2), np.float32)
        for piece in pieces:
            start = round(piece.at * self.rate)
            room = mix[start : start + len(piece.samples)]
            # Constant power: the two gains are a cosine and a sine of the same angle.
            angle = (piece.pan + 1) * math.pi / 4
            room[:, 0] += math.cos(angle) * piece.samples[: len(room)]
            room[:, 1] += math.sin(angle) * piece.samples[: len(room)]
        peak = float(np.max(np.abs(mix), initial=0.0))
        if peak > 1.0:
            mix /= peak
        return np.round(mix * 32767).astype(np.int16)

    def write(self, path: Path) -> None:
        """Write the mix as a WAV or FLAC file, by the suffix of its name.

        Raises:
            GearProblem: The file cannot be written, or has another suffix.
        """
        if path.suffix.lower() not in (".wav", ".flac"):
            raise GearProblem(f"A sound file must be named .wav or .flac, not '{path.name}'.")
        soundfile = importlib.import_module("soundfile")
        try:
            soundfile.write(str(path), self.render(), self.rate, subtype="PCM_16")
        except (OSError, RuntimeError) as error:
            raise GearProblem(f"The sound file {path} cannot be written: {error}.") from error

    def _add(self, at: float, samples: Samples, rate: int, pan: float) -> None:
        if at < 0:
            raise ValueError(f"a piece cannot begin before the track does ({at} s)")
        piece = resample(samples, rate, self.rate).astype(np.float32) / np.float32(32768)
        edge = min(round(self._EDGE_S * self.rate), len(piece) // 2)
        if edge:
            ramp = np.linspace(0.0, 1.0, edge, dtype=np.float32)
            piece[:edge] *= ramp
            piece[-edge:] *= ramp[::-1]
        with self._lock:
            self._pieces.append(_Placed(at, piece, pan))
