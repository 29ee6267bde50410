"""Sound files of any kind become one channel at 16 kHz, or a plain sentence."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.errors import UsageProblem
from assistant.hearing.sound import RATE, SILENCE_DB, level_db, read_sound


def tone(rate: int, seconds: float = 1.0) -> np.ndarray:
    """1 kHz at half of full scale."""
    return 0.5 * np.sin(2 * np.pi * 1000 * np.arange(round(seconds * rate)) / rate)


@pytest.mark.parametrize("rate", [8000, 16000, 22050, 44100, 48000])
@pytest.mark.parametrize(("ending", "subtype"), [("wav", "PCM_24"), ("wav", "FLOAT"), ("flac", "PCM_16")])
def test_any_rate_and_channels(tmp_path: Path, rate: int, ending: str, subtype: str) -> None:
    """Length, level and pitch survive whatever the rate and the kind of file; channels are averaged."""
    file = tmp_path / f"tone.{ending}"
    soundfile.write(file, np.stack([tone(rate), tone(rate)], axis=1), rate, subtype=subtype)
    sound = read_sound(file)
    assert np.int16 == sound.samples.dtype
    assert pytest.approx(1.0) == sound.duration_s
    assert RATE == pytest.approx(sound.samples.size, abs=2)
    assert pytest.approx(-9.03, abs=0.1) == level_db(sound.samples[800:-800])
    spectrum = np.abs(np.fft.rfft(sound.samples))
    assert pytest.approx(1000, abs=2) == spectrum.argmax() * RATE / sound.samples.size


def test_loud_sound_is_clipped_not_wrapped(tmp_path: Path) -> None:
    """Samples over full scale stay at full scale and keep their sign."""
    file = tmp_path / "loud.wav"
    soundfile.write(file, np.array([2.0, -2.0, 0.0]), RATE, subtype="FLOAT")
    assert [32767, -32768, 0] == read_sound(file).samples.tolist()


@pytest.mark.parametrize("rate", [100, 7999, 192_000])
@pytest.mark.parametrize("channels", [1, 6])
def test_odd_rates_and_many_channels(tmp_path: Path, rate: int, channels: int) -> None:
    """The length survives at rates that no sound card has, over more than one block, and with six channels."""
    file = tmp_path / "odd.wav"
    soundfile.write(file, np.zeros((2 * rate + 1, channels)), rate, subtype="DOUBLE")
    sound = read_sound(file)
    assert pytest.approx(2 + 1 / rate) == sound.duration_s
    assert pytest.approx(2 * RATE, rel=0.01) == sound.samples.size


def test_what_is_no_sound_is_said_plainly(tmp_path: Path) -> None:
    """Absent, a folder, text, empty, without samples, cut short: each a sentence that names the file."""
    (tmp_path / "text.wav").write_text("not sound at all", encoding="utf-8")
    (tmp_path / "nothing.wav").touch()
    soundfile.write(tmp_path / "zero.wav", np.zeros(0), RATE)
    soundfile.write(tmp_path / "whole.flac", tone(RATE), RATE)
    (tmp_path / "cut.flac").write_bytes((tmp_path / "whole.flac").read_bytes()[:60])
    soundfile.write(tmp_path / "nan.wav", np.full(100, np.nan), RATE, subtype="FLOAT")
    endless = np.tile([np.inf, -np.inf], (100, 1))
    soundfile.write(tmp_path / "endless.wav", endless, RATE, subtype="FLOAT")
    soundfile.write(tmp_path / "inf.wav", np.array([0.0, np.inf, 0.1]), RATE, subtype="FLOAT")
    os.mkfifo(tmp_path / "pipe.wav")
    for name, part in {
        "absent.wav": "There is no file",
        ".": "is a folder",
        "text.wav": "not a sound file",
        "nothing.wav": "not a sound file",
        "zero.wav": "length is zero",
        "cut.flac": "cut.flac",
        "nan.wav": "damaged",
        "endless.wav": "damaged",
        "inf.wav": "damaged",
        "pipe.wav": "a device or a pipe",
    }.items():
        with pytest.raises(UsageProblem, match=part):
            read_sound(tmp_path / name)


def test_levels_in_decibels() -> None:
    """A square wave of full scale is 0 dB, digital silence the stated floor, nothing at all as well."""
    assert pytest.approx(0.0, abs=0.001) == level_db(np.full(100, -32768, np.int16))
    assert SILENCE_DB == level_db(np.zeros(100, np.int16))
    assert SILENCE_DB == level_db(np.zeros(0, np.int16))
