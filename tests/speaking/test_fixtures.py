"""The spoken results in audio_fixtures, and the noise that they are in."""

from __future__ import annotations

import hashlib
import importlib.util
import itertools
import json
import shutil
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from hypothesis import given, strategies as st

from assistant.errors import FileProblem
from assistant.hearing.baynoise import KINDS, bay_noise

FOLDER = Path(__file__).resolve().parents[2] / "audio_fixtures"


def _load() -> Any:
    spec = importlib.util.spec_from_file_location("make_fixtures", FOLDER / "make_fixtures.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_fixtures"] = module  # a dataclass looks its own module up
    spec.loader.exec_module(module)
    return module


make_fixtures = _load()
MANIFEST = json.loads((FOLDER / "manifest.json").read_text(encoding="utf-8"))["clips"]


@pytest.mark.parametrize("clip", MANIFEST, ids=lambda clip: clip["file"])
def test_manifest_tells_the_truth(clip: dict[str, Any]) -> None:
    """Each file is the one that the manifest describes: its hash, its form, its length, its speech level."""
    path = FOLDER / clip["file"]
    assert hashlib.sha256(path.read_bytes()).hexdigest() == clip["sha256"]
    samples, rate = soundfile.read(path, always_2d=True)
    assert (rate, samples.shape[1]) == (16000, 1)
    assert clip["duration_s"] == pytest.approx(len(samples) / rate, abs=0.001)
    assert path.stat().st_size < 200_000
    assert np.max(np.abs(samples)) < 1.0
    if not clip["words"]:
        level = 20 * np.log10(np.sqrt(np.mean(samples[:, 0] ** 2)))
        assert clip["speech_dbfs"] - clip["snr_db"] == pytest.approx(level, abs=1.0)
    elif clip["snr_db"] >= 10:
        spoken = samples[round(clip["speech_from_s"] * rate) : round(clip["speech_to_s"] * rate), 0]
        level = 20 * np.log10(make_fixtures.active_level(spoken))
        # Noise at 10 dB under the speech raises the level by 0.4 dB where they add.
        assert clip["speech_dbfs"] == pytest.approx(level, abs=1.0)


def test_plan_and_manifest_agree() -> None:
    """No file is described that the plan does not make, and none is missing."""
    plan = make_fixtures.read_plan(FOLDER / "plan.json")
    assert [(clip.file, clip.words, clip.snr_db, clip.seed) for clip in plan.clips] == [
        (clip["file"], clip["words"], clip["snr_db"], clip["seed"]) for clip in MANIFEST
    ]
    assert {clip["file"] for clip in MANIFEST} == {path.name for path in FOLDER.glob("*.flac")}


@pytest.mark.skipif(shutil.which("flite") is None, reason="the Debian package flite makes the speech")
def test_same_plan_makes_the_same_sound(tmp_path: Path) -> None:
    """A fixture can be made again from its line in the plan, sample for sample."""
    plan = json.loads((FOLDER / "plan.json").read_text(encoding="utf-8"))
    plan["clips"] = plan["clips"][:1]
    (tmp_path / "plan.json").write_text(json.dumps(plan), encoding="utf-8")
    assert make_fixtures.main(["--plan", str(tmp_path / "plan.json"), "--folder", str(tmp_path)]) == 0
    made, _ = soundfile.read(tmp_path / MANIFEST[0]["file"], dtype="int16")
    kept, _ = soundfile.read(FOLDER / MANIFEST[0]["file"], dtype="int16")
    assert np.array_equal(kept, made)


def test_ratio_is_what_was_asked() -> None:
    """Speech level over noise level is the ratio in the plan, also where the whole was turned down."""
    plan = make_fixtures.Plan(0.4, 0.6, -22.0, ())
    speech = np.sin(np.arange(16000) * 0.3)
    for ratio in (20.0, -8.0):
        clip = make_fixtures.Clip("a.flac", "a", "flite:slt", 1.0, "impact-wrench", ratio, 3)
        mixed, turned_down = make_fixtures.mix(speech, clip, plan)
        noise = bay_noise("impact-wrench", len(mixed) / 16000, 16000, 3)
        scale = 10 ** ((plan.speech_dbfs - ratio - turned_down) / 20)
        rest = mixed - noise * scale
        assert plan.speech_dbfs - turned_down == pytest.approx(
            20 * np.log10(make_fixtures.active_level(rest[6400:22400])), abs=0.01
        )
        assert np.max(np.abs(mixed)) < 1.0


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        ({"noise": "rain"}, "noise 'rain'"),
        ({"file": "../a.flac"}, "named"),
        ({"file": "a.wav"}, "named"),
        ({"voice": "someone"}, "voice 'someone'"),
        ({"rate": 9}, "rate 9"),
        ({"extra": 1}, "the parts"),
    ],
)
def test_wrong_plan_is_a_plain_sentence(change: dict[str, Any], complaint: str, tmp_path: Path) -> None:
    """A mistake in the plan names the clip and what would be right."""
    plan = json.loads((FOLDER / "plan.json").read_text(encoding="utf-8"))
    plan["clips"][0] |= change
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(plan), encoding="utf-8")
    with pytest.raises(FileProblem, match=f"Clip 1 .*{complaint}.*Give "):
        make_fixtures.read_plan(path)


def test_plan_that_is_no_plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command prints one sentence and says 2."""
    path = tmp_path / "plan.json"
    path.write_text("{", encoding="utf-8")
    assert make_fixtures.main(["--plan", str(path), "--folder", str(tmp_path)]) == 2
    assert "This is not JSON" in capsys.readouterr().err


@given(
    kind=st.sampled_from(KINDS),
    seconds=st.floats(0.01, 1.5),
    rate=st.sampled_from([8000, 16000, 22050]),
    seed=st.integers(0, 2**31),
)
def test_noise_is_steady_in_level_and_repeatable(kind: str, seconds: float, rate: int, seed: int) -> None:
    """Every kind has a root mean square of 1, no constant part, and is the same for the same seed."""
    noise = bay_noise(kind, seconds, rate, seed)
    assert round(seconds * rate) == len(noise)
    assert pytest.approx(float(np.sqrt(np.mean(noise**2)))) == 1.0
    assert np.array_equal(noise, bay_noise(kind, seconds, rate, seed))


def test_kinds_and_seeds_differ() -> None:
    """Two seeds, or two kinds with one seed, have nothing in common."""
    made = [bay_noise(kind, 1.0, 16000, seed) for kind in KINDS for seed in (1, 2)]
    for at, one in enumerate(made):
        for other in made[:at]:
            # Tones at fixed frequencies (hum) may agree in part; the noises must not be copies.
            assert abs(float(np.mean(one * other))) < 0.9


def test_pink_noise_is_pink() -> None:
    """Equal power in every octave, within 1.5 dB over 16 s: the definition of 1/f noise."""
    power = np.abs(np.fft.rfft(bay_noise("pink", 16.0, 16000, 5))) ** 2
    edges = [int(62.5 * 2**octave * 16) for octave in range(8)]
    octaves = [10 * np.log10(np.sum(power[low:high])) for low, high in itertools.pairwise(edges)]
    assert max(octaves) - min(octaves) < 1.5


def test_cranking_surges_with_the_compressions() -> None:
    """The level swells 6.7 times a second: 200 rpm x 4 cylinders / 120."""
    noise = bay_noise("cranking", 12.0, 16000, 9)
    envelope = np.sqrt(np.mean(noise.reshape(-1, 160) ** 2, axis=1))  # every 10 ms
    spectrum = np.abs(np.fft.rfft(envelope - np.mean(envelope)))
    frequency = np.fft.rfftfreq(len(envelope), 0.01)
    slow = (frequency > 2) & (frequency < 30)
    assert pytest.approx(frequency[slow][np.argmax(spectrum[slow])], abs=0.5) == 200 * 4 / 120


@pytest.mark.parametrize(("kind", "seconds"), [("rain", 1.0), ("pink", 0.0), ("pink", -1.0)])
def test_impossible_noise_is_refused(kind: str, seconds: float) -> None:
    """An unknown kind or no length at all is an error."""
    with pytest.raises(ValueError, match="noise"):
        bay_noise(kind, seconds, 16000, 1)
