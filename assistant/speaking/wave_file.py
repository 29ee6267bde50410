"""Sound files of rendered speech: mono, 16 bits."""

from __future__ import annotations

import wave
from typing import TYPE_CHECKING

import numpy as np

from assistant import files

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.speaking.speech import Samples


def read_wave(path: Path) -> tuple[Samples, int]:
    """Samples and rate of a mono 16-bit WAV file.

    Raises:
        ValueError: It is something else or empty.
        OSError, EOFError, wave.Error: It cannot be read.
    """
    with files.open_regular(path) as opened, wave.open(opened, "rb") as file:
        if (file.getnchannels(), file.getsampwidth()) != (1, 2) or not file.getnframes():
            raise ValueError(f"{path} is not mono 16-bit sound")
        data = file.readframes(file.getnframes())
        if len(data) != 2 * file.getnframes():
            raise ValueError(f"{path} is cut short")
        return np.frombuffer(data, "<i2").astype(np.int16), file.getframerate()
