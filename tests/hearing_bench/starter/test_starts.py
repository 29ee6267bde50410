"""Made-up starts are what their truth says."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, sosfiltfilt

from assistant.hearing_bench.starter.counting import counted
from assistant.hearing_bench.starter.ranges import DEVELOPING, MEASURING, drawn_start
from assistant.hearing_bench.starter.scenes import WantedScene, made_scene, truth_frames
from assistant.hearing_bench.starter.sounding import start_sound
from assistant.hearing_bench.starter.turning import STEP_RATE, CrankedCar, Firing, gas_torque, turned


def car(rpm: float, compression: tuple[float, ...]) -> CrankedCar:
    return CrankedCar(compression, 132, 10, 4.0, 25, 0.45, 10.0, 0.6, 25.0, rpm * 1.7, rpm)


@pytest.mark.parametrize("cylinders", [3, 4, 5, 6, 8])
def test_speed_swings_once_for_each_compression(cylinders: int) -> None:
    """The spectrum of the crank's speed has its peak at rpm x cylinders / 120 (four-stroke; textbook)."""
    motion = turned(car(190, (1.0,) * cylinders), 6.0, 6.0)
    speed = motion.speed[STEP_RATE:]
    power = np.abs(np.fft.rfft((speed - speed.mean()) * np.hanning(speed.size)))
    power[:5] = 0
    peak = np.argmax(power) * STEP_RATE / speed.size
    assert motion.rpm * cylinders / 120 == pytest.approx(peak, rel=0.03)
    assert motion.rpm == pytest.approx(190, rel=0.15)


def test_a_weak_cylinder_swings_once_for_each_two_turns() -> None:
    """With one weak cylinder the speed swings at rpm / 120 as well, and evenly compressing cylinders do not."""
    shares = []
    for compression in ((1.0, 1.0, 1.0, 1.0), (1.0, 0.1, 1.0, 1.0)):
        motion = turned(car(190, compression), 8.0, 8.0)
        speed = motion.speed[STEP_RATE:] - motion.speed[STEP_RATE:].mean()
        power = np.abs(np.fft.rfft(speed * np.hanning(speed.size))) ** 2
        line = round(motion.rpm / 120 * speed.size / STEP_RATE)
        shares.append(power[line - 2 : line + 3].sum() / power.sum())
    assert shares[1] > 20 * shares[0]


def test_gas_gives_back_most_of_what_it_takes() -> None:
    """Over two turns the gas takes a small part of its peak's work; without compression it takes nothing."""
    torque = gas_torque(car(200, (1.0,) * 4))
    assert 0 < torque.mean() < 0.1 * torque.max()
    assert not gas_torque(car(200, (0.0,) * 4)).any()


def test_the_sound_swells_with_the_compressions() -> None:
    """Source: scipy's filters and an autocorrelation, by which recordings are counted too."""
    made = car(200, (1.0,) * 4)
    motion = turned(made, 5.0, 5.0)
    sound = start_sound(made, motion, np.random.default_rng(3))[16000:]
    envelope = sosfiltfilt(butter(2, [1.5, 25], "band", fs=16000, output="sos"), np.abs(sound))[::16]
    likeness = np.correlate(envelope, envelope, "full")[envelope.size - 1 :]
    lag = 40 + int(np.argmax(likeness[40:220]))
    assert 1000 / lag == pytest.approx(motion.rpm * 4 / 120, rel=0.05)


def test_an_engine_that_fires_runs_after_its_crank() -> None:
    """A firing engine passes 450 rpm soon after its first firing; another never does."""
    made = car(200, (1.0,) * 4)
    assert turned(made, 2.0, 4.0).runs_s is None
    runs = turned(made, 2.0, 4.0, Firing(2.0, 0.15, 1300, 850, 0.2)).runs_s
    assert runs is not None
    assert 2.0 < runs < 2.5


def test_a_scene_has_its_truth_and_is_the_same_again() -> None:
    """The same seed gives the same sound; frames within a crank are true and others are not; counting finds it."""
    wish = WantedScene(6.0, 1, 25.0, (), talking=False, crank_s=(1.5, 2.5))
    first, again = (made_scene(wish, DEVELOPING, np.random.default_rng(8), None) for _ in range(2))
    assert np.array_equal(first.samples, again.samples)
    placed = first.starts[0]
    state = truth_frames(first, np.array([placed.at_s - 0.1, placed.at_s + 0.3, placed.ends_s - 0.1]))[
        "state"
    ]
    assert state[0] == 0
    assert state[1] == 1
    counts = counted(first)
    assert counts.starts == 1
    assert counts.row()["alarms"] == 0


def test_what_measures_is_not_what_was_developed_with() -> None:
    """The two sets have seeds of their own, and the ranges for measuring reach further."""
    assert DEVELOPING.seed != MEASURING.seed
    assert MEASURING.ring_teeth[0] < DEVELOPING.ring_teeth[0]
    assert MEASURING.ring_teeth[1] > DEVELOPING.ring_teeth[1]
    kinds = {drawn_start(MEASURING, np.random.default_rng(one), (1, 2)).condition for one in range(60)}
    assert kinds == {"even", "uneven", "no-rhythm"}
