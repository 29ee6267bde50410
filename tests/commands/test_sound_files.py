"""`hear`: sound files of every kind against a grammar or a step, and what its lines of JSON hold."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
import soxr

from assistant import resources
from assistant.cli import main
from assistant.commands import sound_files
from assistant.errors import UsageProblem
from assistant.hearing.sound import RATE

SOUNDS = resources.directory("audio_fixtures")
PROMISED = ["file", "words", "result", "accepted", "confidence", "snr_db", "duration_s", "elapsed_s"]


class Hearing:
    """Calls `bay-assistant hear` and gives its lines."""

    def __init__(self, capture: pytest.CaptureFixture[str]) -> None:
        self._capture = capture
        self.error = ""

    def __call__(self, *arguments: object, status: int = 0) -> list[dict[str, Any]]:
        assert status == main(["hear", *map(str, arguments)])
        said = self._capture.readouterr()
        self.error = said.err
        return [json.loads(line, parse_constant=_no_number) for line in said.out.splitlines()]


def _no_number(text: str) -> None:
    raise AssertionError(f"{text} is not JSON (RFC 8259, 6)")


@pytest.fixture
def hearing(capsys: pytest.CaptureFixture[str]) -> Hearing:
    return Hearing(capsys)


def test_a_line_for_each_file_with_the_promised_parts(hearing: Hearing) -> None:
    """One object a line, in the order of the files, with exactly the parts that are documented."""
    files = [SOUNDS / "feed-lit.flac", SOUNDS / "remark-drain-pan.flac", SOUNDS / "lamp-dark.flac"]
    lines = hearing("--grammar", "lamp", *files[1:])
    assert [str(file) for file in files[1:]] == [line["file"] for line in lines]
    remark, dark = lines
    assert [PROMISED, PROMISED] == [list(remark), list(dark)]
    assert (False, None) == (remark["accepted"], remark["result"])
    assert ("lamp dark", True, {"outcome": "dark"}) == (dark["words"], dark["accepted"], dark["result"])
    for line in lines:
        assert 0 <= line["confidence"] <= 1
        assert line["elapsed_s"] >= 0
        assert line["duration_s"] == pytest.approx(soundfile.info(line["file"]).duration, abs=0.001)
    assert "" == hearing.error


def test_a_step_hears_its_places_and_controls(hearing: Hearing) -> None:
    """With a procedure and a step, what that step listens for while it is asked: place, outcome, control words."""
    step = ("--procedure", "feed-dead", "--step", "feed-key-on")
    lit, again, other = hearing(
        *step, SOUNDS / "feed-lit.flac", SOUNDS / "say-again.flac", SOUNDS / "zero-point-one-ohms.flac"
    )
    assert {"outcome": "lit", "place": "feed"} == lit["result"]
    assert {"control": "say-again"} == again["result"]
    assert not other["accepted"]


def test_a_number_keeps_its_digits_and_unit(hearing: Hearing) -> None:
    """A reading is a decimal number as it was said, never a rounded one."""
    (line,) = hearing(
        "--procedure",
        "battery-and-cranking",
        "--step",
        "battery-at-rest",
        SOUNDS / "twelve-point-four-volts.flac",
    )
    assert {"value": "12.4", "unit": "V"} == line["result"]
    assert line["accepted"]


@pytest.mark.parametrize("rate", [8000, 44_100, 48_000])
@pytest.mark.parametrize("kind", ["PCM_16", "PCM_24", "FLOAT"])
def test_stereo_wav_of_any_rate_is_heard(hearing: Hearing, tmp_path: Path, rate: int, kind: str) -> None:
    """WAV of telephone, compact-disc and studio rate in two channels: the same words and length."""
    samples, original = soundfile.read(SOUNDS / "feed-lit.flac", dtype="float32")
    other = soxr.resample(samples, original, rate)
    file = tmp_path / "stereo.wav"
    soundfile.write(file, np.column_stack([other, 0.5 * other]), rate, subtype=kind)
    (line,) = hearing("--grammar", "lamp", file)
    assert PROMISED == list(line)
    assert line["duration_s"] == pytest.approx(len(samples) / original, abs=0.001)
    assert "lit" == line["words"].split()[-1]


@pytest.mark.parametrize("name", ["silence", "one-sample", "full-scale", "constant"])
def test_sound_without_speech_is_heard_as_nothing(hearing: Hearing, tmp_path: Path, name: str) -> None:
    """Digital silence, a single sample, clipped noise, a stuck converter: nothing accepted, and valid JSON."""
    samples = {
        "silence": np.zeros(RATE, np.int16),
        "one-sample": np.ones(1, np.int16),
        "full-scale": np.where(np.random.default_rng(3).random(RATE) < 0.5, -32768, 32767).astype(np.int16),
        "constant": np.full(RATE, 32767, np.int16),
    }[name]
    file = tmp_path / f"{name}.wav"
    soundfile.write(file, samples, RATE)
    (line,) = hearing("--grammar", "lamp", file)
    assert PROMISED == list(line)
    assert (False, None) == (line["accepted"], line["result"])
    assert line["snr_db"] is None or math.isfinite(line["snr_db"])


def test_speech_out_of_digital_silence_has_a_finite_ratio(hearing: Hearing, tmp_path: Path) -> None:
    """Speech with digital silence before and after it: no infinity in the line."""
    samples, rate = soundfile.read(SOUNDS / "feed-lit.flac", dtype="int16")
    silence = np.zeros(rate, np.int16)
    file = tmp_path / "clean.wav"
    soundfile.write(file, np.concatenate([silence, samples, silence]), rate)
    (line,) = hearing("--grammar", "lamp", file)
    assert line["snr_db"] is None or math.isfinite(line["snr_db"])


def test_files_that_cannot_be_heard_are_said_and_the_others_are_heard(
    hearing: Hearing, tmp_path: Path
) -> None:
    """Zero length, no sound file, cut short, a folder, missing: a sentence each, exit 2, and the good one is heard."""
    empty = tmp_path / "empty.wav"
    soundfile.write(empty, np.zeros(0, np.int16), RATE)
    nothing = tmp_path / "nothing.wav"
    nothing.touch()
    text = tmp_path / "text.flac"
    text.write_text("feed lit\n", encoding="utf-8")
    cut = tmp_path / "cut.flac"
    cut.write_bytes((SOUNDS / "feed-lit.flac").read_bytes()[:30])
    missing = tmp_path / "missing.wav"
    broken = tmp_path / "broken.wav"
    soundfile.write(broken, np.array([0.0, np.nan, np.inf]), RATE, subtype="FLOAT")
    bad = [empty, nothing, text, cut, tmp_path, missing, broken]
    *lines, good = hearing("--grammar", "lamp", *bad, SOUNDS / "lamp-dark.flac", status=2)
    assert [[*PROMISED, "error"]] * len(bad) == [list(line) for line in lines]
    for file, line in zip(bad, lines, strict=True):
        assert (str(file), "", None, False) == (line["file"], line["words"], line["result"], line["accepted"])
        assert str(file) in line["error"]
        assert f"bay-assistant: {line['error']}\n" in hearing.error
    assert "its length is zero" in lines[0]["error"]
    assert "not a sound file" in lines[2]["error"]
    assert "There is no file" in lines[5]["error"]
    assert "Traceback" not in hearing.error
    assert ({"outcome": "dark"}, True) == (good["result"], good["accepted"])


def test_a_bad_level_is_told_once_for_each_trouble_with_what_to_turn(
    hearing: Hearing, tmp_path: Path
) -> None:
    """Two files cut off and one too quiet: a sentence for each trouble, in the words of a session, on standard error.

    The lines of JSON have the same parts as always, and a file of nothing but faint noise is not called too quiet.
    """
    samples, rate = soundfile.read(SOUNDS / "feed-lit.flac")
    peak = np.abs(samples).max()
    made = {
        "cut-1.wav": np.clip(samples / peak * 8, -1, 1),
        "cut-2.wav": np.clip(samples / peak * 6, -1, 1),
        "quiet.wav": samples / peak * 10 ** (-50 / 20),
        "noise.wav": np.random.default_rng(1).normal(0, 1e-3, rate),
    }
    for name, sound in made.items():
        soundfile.write(tmp_path / name, sound, rate)
    lines = hearing("--grammar", "lamp", SOUNDS / "feed-lit.flac", *(tmp_path / name for name in made))
    assert [PROMISED] * 5 == [list(line) for line in lines]
    cut, quiet = hearing.error.splitlines()
    assert f"{tmp_path / 'cut-1.wav'} and 1 more file: The microphone is too loud. " in cut
    assert "% of loud speech is cut off. Turn down its recording level" in cut
    assert f"{tmp_path / 'quiet.wav'}: The microphone is too quiet. Speech at -" in quiet
    assert "dB of full scale. Turn up its recording level" in quiet


def test_a_very_long_file_is_refused(hearing: Hearing, tmp_path: Path) -> None:
    """A recording of a whole day does not fill the memory: it is refused with its length."""
    file = tmp_path / "long.flac"
    soundfile.write(file, np.zeros(11 * 60 * 8000, np.int16), 8000)
    (line,) = hearing("--grammar", "lamp", file, status=2)
    assert "11 minutes" in line["error"]


@pytest.mark.parametrize(
    ("named", "words"),
    [
        ({}, "either --grammar NAME"),
        ({"grammar": "lamp", "procedure": "feed-dead", "step": "feed-key-on"}, "either"),
        ({"procedure": "coil-control"}, "--step NAME"),
        ({"step": "feed-key-on"}, "--procedure NAME"),
        ({"grammar": "nonesuch"}, "lamp"),
        ({"procedure": "nonesuch", "step": "x"}, "coil-control"),
        ({"procedure": "coil-control", "step": "nonesuch"}, "feed-and-switched"),
    ],
)
def test_what_to_listen_for_must_be_named_once_and_exist(named: dict[str, str], words: str) -> None:
    """Neither, both, half of it, or a name that does not exist: what would be right is said."""
    asked = {"grammar": None, "procedure": None, "step": None, **named}
    with pytest.raises(UsageProblem, match=words):
        sound_files.asked_for(asked["grammar"], asked["procedure"], asked["step"])


@pytest.mark.parametrize("name", ["lamp", "number", "control", "compare", "condition", "spark"])
def test_every_kind_of_answer_is_a_grammar_that_can_be_named(name: str) -> None:
    """`--grammar` takes the names of the grammar files."""
    assert sound_files.asked_for(name, None, None).words()


def test_each_file_counts_by_its_length(tmp_path: Path) -> None:
    """Before each file it is told how much sound is done and how long this one is; one that is none counts a little."""
    (tmp_path / "none.wav").write_bytes(b"no sound")
    files = [SOUNDS / "lamp-dark.flac", tmp_path / "none.wav", SOUNDS / "feed-lit.flac"]
    told: list[tuple[float, float, float]] = []
    sound_files.run(
        files,
        grammar="lamp",
        procedure=None,
        step=None,
        model=None,
        grammars=None,
        procedures=None,
        write=lambda _line: None,
        progress=lambda *one: told.append(one),
    )
    lengths = [soundfile.info(files[0]).duration, 0.5, soundfile.info(files[2]).duration]
    assert lengths == pytest.approx([ahead for _, _, ahead in told])
    assert [0.0, lengths[0], sum(lengths[:2])] == pytest.approx([done for done, _, _ in told])
    assert {round(sum(lengths), 6)} == {round(whole, 6) for _, whole, _ in told}
    assert sound_files.work_s(files) == pytest.approx(sound_files.A_SECOND_S * sum(lengths))
