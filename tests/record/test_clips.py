"""A captured current in the record: a FLAC file that gives the same current back."""

from __future__ import annotations

import hashlib
import io
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from assistant.errors import RecordBroken
from assistant.record.clips import STEP_A, ampere_of, keep_capture, keep_clip

if TYPE_CHECKING:
    from pathlib import Path


def test_a_capture_comes_back_within_half_a_step(tmp_path: Path) -> None:
    """Beyond what 16 bits would hold as well; its checksum and length are those of the file."""
    (tmp_path / "clips").mkdir()
    ampere = np.concatenate([np.linspace(-3, 900, 20000), np.zeros(20000)])
    clip = keep_capture(tmp_path, 1, ampere, 20000.0)
    data = (tmp_path / clip.file).read_bytes()
    assert ("clips/0001.flac", 2.0) == (clip.file, clip.duration_s)
    assert hashlib.sha256(data).hexdigest() == clip.sha256
    back, rate = ampere_of(data, clip.file)
    assert 20000.0 == rate
    assert np.abs(back - ampere).max() <= STEP_A / 2 + 1e-9
    steps, _ = soundfile.read(io.BytesIO(data), dtype="int32")
    assert round(900 / STEP_A) == steps.max() >> 8


@pytest.mark.parametrize("data", [b"nothing", b"fLaC"])
def test_what_is_no_capture_is_told(data: bytes) -> None:
    """A wrong file is a broken record, in words."""
    with pytest.raises(RecordBroken, match="no capture"):
        ampere_of(data, "clips/0001.flac")


def test_the_sound_of_an_answer_is_no_capture(tmp_path: Path) -> None:
    """Sound has 16 bits, so that nobody takes it for a current."""
    (tmp_path / "clips").mkdir()
    clip = keep_clip(tmp_path, 1, np.zeros(1600, np.int16))
    with pytest.raises(RecordBroken, match="no capture"):
        ampere_of((tmp_path / clip.file).read_bytes(), clip.file)


@pytest.mark.parametrize("ampere", [np.zeros((2, 2)), np.array([np.nan])])
def test_samples_of_another_kind_are_refused(tmp_path: Path, ampere: np.ndarray) -> None:
    """One channel, finite."""
    with pytest.raises(ValueError, match="one channel"):
        keep_capture(tmp_path, 1, ampere, 20000.0)
