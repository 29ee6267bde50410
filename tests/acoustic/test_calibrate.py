"""The fit of the confidence, on made cases with a known answer, and end to end on a few real sounds."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from assistant.acoustic import calibrate, figures, fitting, in_noise
from assistant.acoustic.calibrate import Price
from assistant.acoustic.fitting import Stated
from assistant.acoustic.in_noise import HeardInNoise
from assistant.errors import UsageProblem
from assistant.hearing.confidence import MEASURES
from assistant.hearing.sound import RATE, level_db, read_sound
from assistant.measured import CALIBRATION, FILE, Calibration

SOUNDS = Path(__file__).parent.parent / "hearing" / "sounds"


def made_up(count: int, seed: int = 1) -> list[HeardInNoise]:
    """Utterances of four voices whose log-odds of being right are 1 + 2 x share, whatever the pace is."""
    generator = np.random.default_rng(seed)
    heard = []
    for number in range(count):
        share, pace = generator.normal(0, 1.5), generator.normal(3, 2)
        right = bool(generator.random() < 1 / (1 + math.exp(-(1 + 2 * share))))
        measures = {"share": share, "pace": pace}
        heard.append(
            HeardInNoise(f"voice {number % 4}", (20, 10, 5, 0)[number // 4 % 4], False, True, right, measures)
        )
    return heard


def test_the_fit_finds_the_weights_that_made_the_cases() -> None:
    """Logistic regression gets back intercept and weight of a known model, and no weight for what does not matter."""
    found = fitting.fit(made_up(20_000), ("share", "pace"))
    assert pytest.approx(2.0, abs=0.1) == found.weights["share"] / found.deviations["share"]
    assert pytest.approx(0.0, abs=0.05) == found.weights["pace"]
    at_zero = found.probability({"share": 0.0})
    assert pytest.approx(1 / (1 + math.exp(-1)), abs=0.02) == at_zero


def test_stated_and_found_agree_on_voices_that_were_not_fitted() -> None:
    """The stated probability is the share that is right, in every bin, on the other half of the voices."""
    judged = fitting.across(made_up(20_000), ("share", "pace"))
    for stated, found, count in figures.reliability(judged):
        assert abs(stated - found) < 4 * math.sqrt(0.25 / count)
    assert figures.quality(judged)["calibration error"] < 0.02


def test_a_measure_that_says_nothing_is_left_out() -> None:
    """Of two measures the one that matters is chosen, and noise is not."""
    assert ("share",) == calibrate.choose(made_up(2_000))
    swapped = [replace(h, measures={"share": 0.0, "word": h.measures["share"]}) for h in made_up(2_000)]
    assert ("share", "word") == calibrate.choose(swapped)


def test_no_voice_is_in_both_halves() -> None:
    """The halves share no voice, hold all of them, and are about as large."""
    heard = made_up(400)
    one, other = fitting.halves(heard)
    assert not one & other
    assert {h.voice for h in heard} == one | other
    assert (2, 2) == (len(one), len(other))


def test_limits_follow_the_price() -> None:
    """With true probabilities the limits come out where the price says that taking and asking cost the same."""
    generator = np.random.default_rng(5)
    blank = HeardInNoise("a", 10, False, True, False)
    chances = generator.random(60_000)
    right = generator.random(60_000) < chances
    judged = [Stated(replace(blank, right=bool(r)), float(c)) for r, c in zip(right, chances, strict=True)]
    price = Price(wrong=6.0, affirm=0.5, denied=1.8, repeat=1.0)
    reject, ask = calibrate.limits(judged, price)
    # Repeat costs 1, affirming 0.5 + 1.8 (1 - p): equal at p = 1 - 0.5 / 1.8.  Taking costs 6 (1 - p).
    assert pytest.approx(1 - 0.5 / 1.8, abs=0.03) == reject
    assert pytest.approx(1 - 0.5 / 4.2, abs=0.03) == ask


@pytest.mark.parametrize("level", in_noise.LEVELS)
def test_noise_is_mixed_to_the_level_and_the_same_each_time(level: int) -> None:
    """The signal-to-noise ratio over the speech part is the one that was asked for; the same name, the same noise."""
    clean = read_sound(SOUNDS / "feed-lit.flac").samples
    mixed = in_noise.in_noise(clean, level, "x.flac")
    assert (mixed == in_noise.in_noise(clean, level, "x.flac")).all()
    assert (mixed != in_noise.in_noise(clean, level, "y.flac")).any()
    silent = in_noise.in_noise(
        np.where(np.arange(clean.size) == RATE, 1, 0).astype(np.int16), level, "x.flac"
    )
    noise = level_db(silent[: round(0.4 * RATE)])
    assert pytest.approx(in_noise.SPEECH_DB - level, abs=4) == noise


def manifest(folder: Path) -> Path:
    """The test sounds as a manifest, three voices by name, with some other speech."""
    request = {"outcomes": ["lit", "dim", "dark", "blinking"], "units": [], "controls": ["say-again"]}
    lines = []
    for voice in ("one", "two", "three", "four"):
        names = ["feed-lit", "dark", "say-again", *(["remark"] if voice == "one" else [])]
        for name in names:
            copy = folder / f"{voice}-{name}.flac"
            copy.symlink_to(SOUNDS / f"{name}.flac")
            known = name != "remark"
            # One line claims other words than were spoken, so that something is wrong.
            words = "dim" if (voice, name) in {("one", "dark"), ("three", "dark")} else name.replace("-", " ")
            line = {"file": copy.name, "words": words, "voice": voice, "request": request if known else None}
            lines.append(json.dumps(line))
    path = folder / "manifest.jsonl"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def test_the_command_writes_a_file_that_can_be_used(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """From a manifest to the data file, the table and the diagram, with the real recogniser."""
    output = tmp_path / "confidence.json"
    arguments = [str(manifest(tmp_path)), "--output", str(output), "--report", str(tmp_path / "report")]
    assert 0 == calibrate.main(arguments)
    made = Calibration.read(output)
    assert made.reject_below <= made.ask_below
    assert 0 < made.probability({}) < 1
    text = (tmp_path / "report" / "calibration.md").read_text(encoding="utf-8")
    assert text in capsys.readouterr().out
    assert re.search(r"^\| 20 dB \| \d+ \|", text, re.MULTILINE)
    assert (tmp_path / "report" / "reliability.svg").read_text(encoding="utf-8").startswith("<svg")


@pytest.mark.parametrize(
    "line", ["nonsense", "{}", '{"file": "a", "words": "b", "voice": "c", "request": 3}']
)
def test_a_wrong_manifest_is_named_with_its_line(tmp_path: Path, line: str) -> None:
    """A file that is not a manifest is refused with file and line, and the command exits with 2."""
    path = tmp_path / "manifest.jsonl"
    path.write_text(line + "\n", encoding="utf-8")
    with pytest.raises(UsageProblem, match=r"manifest\.jsonl:1: "):
        in_noise.read_manifest(path)
    assert 2 == calibrate.main([str(path), "--output", str(tmp_path / "x.json")])
    with pytest.raises(UsageProblem, match="cannot be read"):
        in_noise.read_manifest(tmp_path / "absent.jsonl")


def test_too_little_is_refused() -> None:
    """Nothing, or nothing wrong, cannot be calibrated with."""
    with pytest.raises(UsageProblem, match="too few"):
        fitting.fit([])
    with pytest.raises(UsageProblem, match="too few"):
        fitting.fit([replace(one, right=True) for one in made_up(100)])


def test_the_delivered_file_says_when_and_on_what_it_was_measured() -> None:
    """Date, sound, model and price stand beside the coefficients, and the limits are in order."""
    assert CALIBRATION == Calibration.read(FILE)
    assert 0 < CALIBRATION.reject_below < CALIBRATION.ask_below < 1
    assert {"measured", "sound", "voices", "price in repeated questions"} <= CALIBRATION.about.keys()
    assert "share" in CALIBRATION.weights
    assert set(CALIBRATION.weights) <= set(MEASURES)


@pytest.mark.parametrize("body", ["", "{}", "[]", '{"weights": 3}'])
def test_a_damaged_file_is_a_sentence(tmp_path: Path, body: str) -> None:
    """A missing or damaged data file is said plainly."""
    path = tmp_path / "confidence.json"
    path.write_text(body, encoding="utf-8")
    with pytest.raises(UsageProblem, match="missing or damaged"):
        Calibration.read(path)
    with pytest.raises(UsageProblem, match="missing or damaged"):
        Calibration.read(tmp_path / "absent.json")
