"""The ear for the starter on sound that was made with known truth."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
import yaml

from assistant import resources
from assistant.hearing.sound import read_sound
from assistant.hearing.starter.certainty import SURE_FROM
from assistant.hearing.starter.ear import StarterEar, whole_numbers
from assistant.hearing.starter.values import CrankPhase, CrankSpeed, Manner, Perceived, Phase
from assistant.hearing_bench.starter.counting import heard
from assistant.hearing_bench.starter.losing import Way, plain_fixtures, with_gaps
from assistant.hearing_bench.starter.ranges import DEVELOPING, DrawnStart
from assistant.hearing_bench.starter.scenes import microphone
from assistant.hearing_bench.starter.sounding import start_sound
from assistant.hearing_bench.starter.turning import CrankedCar, Firing, Turned, turned

BEFORE_S = 2.0


def car(rpm: float = 200.0, cylinders: int = 4) -> CrankedCar:
    return CrankedCar((1.0,) * cylinders, 132, 10, 4.0, 25, 0.45, 10.0, 0.6, 25.0, rpm * 1.7, rpm)


@functools.cache
def crank(rpm: float = 200.0, *, fires: bool = False, seed: int = 4) -> tuple[np.ndarray, Turned, DrawnStart]:
    """Quiet noise, a crank of 2.5 s from the second second on, and quiet noise again."""
    firing = Firing(2.5, 0.15, 1300.0, 850.0, 0.3) if fires else None
    made = DrawnStart(car(rpm), "even", 2.5, firing)
    motion = turned(made.car, 2.5, 5.0, firing)
    rng = np.random.default_rng(seed)
    sound = start_sound(made.car, motion, rng)
    total = 0.1 * rng.standard_normal(round(BEFORE_S * 16000) + sound.size)
    total[round(BEFORE_S * 16000) :] += sound
    return microphone(total, DEVELOPING, rng), motion, made


def phases(said: list[Perceived]) -> list[str]:
    """Phases in order; a beginning that is said once more when it is sure counts once."""
    told = [(one.phase, one.at_s) for one in said if isinstance(one, CrankPhase)]
    return [phase for phase, _ in dict.fromkeys(told)]


def test_a_crank_is_heard_within_half_a_second() -> None:
    """Beginning and end of a plain crank are said within 0.5 s of sound, in this order, and nothing else is."""
    samples, motion, _ = crank()
    told = [one for one in heard(samples) if isinstance(one.said, CrankPhase)]
    assert phases([one.said for one in told]) == ["begins", "ends"]
    assert 0 < told[0].at_s - BEFORE_S < 0.5
    assert 0 < told[-1].at_s - BEFORE_S - motion.ends_s < 0.5


def test_a_plain_crank_is_believed() -> None:
    """The last word on the beginning of a plain crank is sure enough for the dialogue to time it."""
    begins = [
        one for one in StarterEar().feed(crank()[0]) if isinstance(one, CrankPhase) and one.phase == "begins"
    ]
    assert begins[-1].confidence >= SURE_FROM
    assert all(one.confidence < SURE_FROM for one in begins[:-1])


def test_an_engine_that_fires_is_told_from_one_that_only_cranks() -> None:
    """``runs`` is said of an engine that fires, once, before the end of its crank."""
    assert ["begins", "runs", "ends"] == phases([one.said for one in heard(crank(fires=True)[0])])


@pytest.mark.parametrize("rpm", [110.0, 200.0])
def test_the_speed_is_the_true_one(rpm: float) -> None:
    """The speed of a plain crank is within 3 % of what the made-up crank turned, and so is the answer."""
    samples, motion, _ = crank(rpm)
    said = [one.said for one in heard(samples, [(0.0, 4)]) if isinstance(one.said, CrankSpeed)]
    assert len(said) == 1
    assert said[0].rpm == pytest.approx(motion.rpm, rel=0.03)
    assert said[0].manner == ("slow" if rpm < 150 else "normal")
    assert said[0].per_s == pytest.approx(motion.rpm * 4 / 120, rel=0.03)


def test_without_cylinders_there_is_no_speed_of_the_crank() -> None:
    """Compressions a second are all that can be known without the number of cylinders."""
    said = [one.said for one in heard(crank()[0]) if isinstance(one.said, CrankSpeed)]
    assert said[0].rpm is None
    assert said[0].sigma_rpm is None
    assert said[0].manner is None
    assert said[0].per_s is not None


@pytest.mark.parametrize("size", [1, 7, 256, 511, 512, 513, 8192])
def test_how_sound_is_cut_changes_nothing(size: int) -> None:
    """Pieces of any length give exactly the same answers."""
    samples = crank()[0][: 16000 * 3] if size == 1 else crank()[0]
    whole = StarterEar(4).feed(samples)
    ear = StarterEar(4)
    cut = [one for at in range(0, samples.size, size) for one in ear.feed(samples[at : at + size])]
    assert whole == cut


@pytest.mark.parametrize("way", get_args(Way))
def test_a_crank_with_gaps_is_still_one_crank(way: Way) -> None:
    """Sound that is lost, late or comes twice splits no crank in two, and hides neither its beginning nor its end."""
    samples = with_gaps(crank()[0], np.random.default_rng(5), way)
    assert phases(StarterEar(4).feed(samples)) == ["begins", "ends"]


@pytest.mark.parametrize("way", get_args(Way))
def test_gaps_in_a_hum_are_no_crank(way: Way) -> None:
    """A virtual microphone's hum in which sound is lost holds no starter and no pump."""
    hum = np.random.default_rng(8).normal(0, 16, 320_000).round().astype(np.int16)
    assert StarterEar(4).feed(with_gaps(hum, np.random.default_rng(9), way)) == []


def test_few_clips_with_gaps_are_believed_to_crank() -> None:
    """Of the clips of speech in sudden bay noise, with lost sound, at most one in six is believed to be a crank.

    The README of the ear has how many are, and how many were.
    """
    believed = 0
    for number, name in enumerate(plain_fixtures()):
        rng = np.random.default_rng(number)
        clip = read_sound(resources.directory("audio_fixtures") / name).samples
        hum = rng.normal(0, 16, clip.size + 64_000)
        hum[48_000 : 48_000 + clip.size] += clip
        said = StarterEar().feed(with_gaps(whole_numbers(hum), rng, "zeros"))
        believed += any(
            isinstance(one, CrankPhase) and one.phase == "begins" and one.confidence >= SURE_FROM
            for one in said
        )
    assert believed <= len(plain_fixtures()) // 6


def test_zeros_for_lost_sound_leave_the_speed() -> None:
    """Where zeros stand for what was lost, time is kept, and with it the speed of the crank (5 %)."""
    samples, motion, _ = crank()
    torn = with_gaps(samples, np.random.default_rng(6), "zeros")
    said = [one.said for one in heard(torn, [(0.0, 4)]) if isinstance(one.said, CrankSpeed)]
    assert [one.rpm for one in said] == [pytest.approx(motion.rpm, rel=0.05)]


ODD = {
    "nothing": np.zeros(0, np.int16),
    "silence": np.zeros(40_000, np.int16),
    "a constant": np.full(40_000, 12_345, np.int16),
    "the lowest value": np.full(40_000, -32_768, np.int16),
    "full scale": np.tile(np.array([32_767, -32_768], np.int16), 20_000),
    "no numbers": np.full(40_000, np.nan),
    "infinities": np.tile([np.inf, -np.inf, np.nan, 1e300], 10_000),
    "two channels": np.ones((20_000, 2), np.float32),
    "clipped noise": np.clip(np.random.default_rng(1).normal(0, 1e5, 40_000), -32768, 32767).astype(np.int16),
}


@pytest.mark.parametrize("name", ODD)
def test_no_sound_raises(name: str) -> None:
    """Whatever is fed, in one piece and in several, the ear answers with a list and no crank is made of it."""
    ear = StarterEar()
    samples = ODD[name]
    said = ear.feed(samples) + [one for part in np.array_split(samples.ravel(), 9) for one in ear.feed(part)]
    assert "runs" not in phases(said)


def test_after_odd_sound_a_crank_is_still_heard() -> None:
    """No sound leaves the ear deaf: after numbers that are none it hears as before."""
    ear = StarterEar(4)
    ear.feed(ODD["infinities"])  # type: ignore[arg-type]
    ear.feed(ODD["silence"])
    assert phases(ear.feed(crank()[0]))[:1] == ["begins"]


def test_what_is_not_a_number_becomes_silence() -> None:
    """Samples of any type become 16 bits without wrapping round."""
    assert [0, 32767, -32768, 3] == whole_numbers(np.array([np.nan, 1e9, -np.inf, 2.6])).tolist()  # type: ignore[arg-type]


def test_nothing_can_be_said_of_no_crank() -> None:
    """No value says that nothing cranks: not as a phase, and "silent" is no answer that the ear may propose."""
    assert set(get_args(Phase)) == {"begins", "ends", "runs"}
    outcomes = yaml.safe_load(
        (Path(__file__).parents[3] / "procedures" / "first-look.yaml").read_text(encoding="utf-8")
    )["steps"]["crank-speed"]["answers"]
    assert set(get_args(Manner)) == set(outcomes) - {"silent", "unknown"}
