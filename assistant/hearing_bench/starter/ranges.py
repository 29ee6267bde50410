"""What made-up starts are drawn from: one set for developing, another for measuring.

Nothing was tuned on the set for measuring. It has other seeds, and most of its intervals reach beyond those for
developing (gears, rooms, microphones), so a detector that has learnt one generator by heart loses there.
Cranking speeds are those of `assistant.circuit.parameters` (150 to 250 rpm), slower for a weak battery, faster
without compression.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from assistant.hearing_bench.starter.turning import CrankedCar, Firing

if TYPE_CHECKING:
    import numpy as np

Condition = Literal["even", "uneven", "no-rhythm"]


@dataclass(frozen=True)
class Ranges:
    """Intervals; each value is drawn evenly between two limits.

    Attributes:
        seed: Set apart from every other set's.
        ring_teeth: Of the flywheel.
        pinion_teeth: Of the pinion.
        reduction: Of the starter's gear.
        litres: Of one cylinder.
        inertia: kg m2.
        normal_rpm: Cranking speed of a sound car.
        slow_rpm: With a weak battery.
        loose_rpm: Without compression.
        echo_s: Reverberation time of the room.
        high_hz: Upper limit of the microphone.
        agc: Share of an automatic gain control.
    """

    seed: int
    ring_teeth: tuple[int, int]
    pinion_teeth: tuple[int, int]
    reduction: tuple[float, float]
    litres: tuple[float, float]
    inertia: tuple[float, float]
    normal_rpm: tuple[float, float]
    slow_rpm: tuple[float, float]
    loose_rpm: tuple[float, float]
    echo_s: tuple[float, float]
    high_hz: tuple[float, float]
    agc: tuple[float, float]


DEVELOPING = Ranges(
    seed=11,
    ring_teeth=(100, 168),
    pinion_teeth=(8, 13),
    reduction=(1.0, 5.5),
    litres=(0.28, 0.62),
    inertia=(0.25, 1.6),
    normal_rpm=(150, 250),
    slow_rpm=(55, 150),
    loose_rpm=(240, 420),
    echo_s=(0.1, 0.7),
    high_hz=(3600, 8000),
    agc=(0.0, 0.8),
)
MEASURING = Ranges(
    seed=9_000_011,
    ring_teeth=(92, 180),
    pinion_teeth=(8, 14),
    reduction=(1.0, 6.0),
    litres=(0.25, 0.7),
    inertia=(0.2, 1.8),
    normal_rpm=(150, 250),
    slow_rpm=(60, 150),
    loose_rpm=(250, 400),
    echo_s=(0.1, 1.0),
    high_hz=(3300, 8000),
    agc=(0.0, 1.0),
)

CYLINDERS = (3, 4, 4, 4, 5, 6, 6, 8)
"""Fours are commonest; chosen."""


@dataclass(frozen=True)
class DrawnStart:
    """One start to be made.

    Attributes:
        car: The engine.
        condition: Of its compressions: the truth.
        crank_s: How long the starter has current.
        firing: How it catches; None if it does not.
    """

    car: CrankedCar
    condition: Condition
    crank_s: float
    firing: Firing | None


def drawn_start(ranges: Ranges, rng: np.random.Generator, crank_s: tuple[float, float]) -> DrawnStart:
    """A start with everything drawn at random.

    Args:
        ranges: Intervals to draw from.
        rng: Source of chance.
        crank_s: Shortest and longest cranking.
    """
    cylinders = int(rng.choice(CYLINDERS))
    condition: Condition = "even"
    chance = rng.uniform()
    compression = rng.uniform(0.92, 1.0, cylinders)
    between = ranges.normal_rpm
    if chance < 0.14:
        condition, between = "no-rhythm", ranges.loose_rpm
        compression = rng.uniform(0.0, 0.05, cylinders)
    elif chance < 0.34:
        condition = "uneven"
        compression[int(rng.integers(cylinders))] = rng.uniform(0.0, 0.5)
    if condition != "no-rhythm" and rng.uniform() < 0.3:
        between = ranges.slow_rpm
    rpm = float(rng.uniform(*between))
    pinion = int(rng.integers(ranges.pinion_teeth[0], ranges.pinion_teeth[1] + 1))
    car = CrankedCar(
        compression=tuple(float(one) for one in compression),
        ring_teeth=int(rng.integers(ranges.ring_teeth[0], ranges.ring_teeth[1] + 1)),
        pinion_teeth=pinion,
        reduction=1.0 if rng.uniform() < 0.3 else float(rng.uniform(*ranges.reduction)),
        bars=int(rng.integers(19, 33)),
        litres=float(rng.uniform(*ranges.litres)),
        ratio=float(rng.uniform(8, 12.5)),
        inertia=float(rng.uniform(*ranges.inertia)),
        friction=float(rng.uniform(12, 45)),
        free_rpm=rpm * float(rng.uniform(*((1.05, 1.25) if condition == "no-rhythm" else (1.25, 2.2)))),
        rpm=rpm,
    )
    length = float(rng.uniform(*crank_s))
    firing = None
    if condition != "no-rhythm" and rng.uniform() < 0.35:
        idle = float(rng.uniform(620, 1100))
        firing = Firing(
            at_s=max(0.4, length),
            rise_s=float(rng.uniform(0.08, 0.35)),
            top_rpm=idle * float(rng.uniform(1.05, 2.0)),
            idle_rpm=idle,
            held_s=float(rng.uniform(0.1, 0.8)),
        )
    return DrawnStart(car, condition, length, firing)
