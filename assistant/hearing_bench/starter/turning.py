"""A crankshaft that a starter turns: torques of compression, friction and motor, integrated over time.

The starter is a line from its stall torque to its free speed, as a permanent-magnet motor on a battery is. The gas is
compressed with an exponent of 1.3. Both are textbook; the sizes are chosen, without a source. The torque that swings
with each compression is what makes the starter's current swing in `assistant.circuit` (``I = mean + swing/2 (cos x +
0.25 cos 2x)``, x once for each compression): current and torque are proportional.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

STEP_RATE = 2000
"""Steps of the integration a second."""

_AIR_PA = 1.0e5
_EXPONENT = 1.3
_CELLS = 1440
SPUN_UP_S = 0.2
"""Longest time constant of a starter's run-up; chosen, from memory."""
RUNS_FROM_RPM = 450.0
"""An engine that turns faster than this, by itself, runs; no starter reaches it with compression."""


@dataclass(frozen=True)
class CrankedCar:
    """A four-stroke engine with its starter.

    Attributes:
        compression: For each cylinder in firing order: 1 compresses well, 0 not at all.
        ring_teeth: Teeth of the flywheel.
        pinion_teeth: Teeth of the starter's pinion.
        reduction: Turns of the armature for one of the pinion.
        bars: Bars of the commutator.
        litres: Displacement of one cylinder.
        ratio: Compression ratio.
        inertia: Of crankshaft, flywheel and armature as seen at the crank, kg m2.
        friction: Torque of friction, Nm.
        free_rpm: Crank speed of the starter without load.
        rpm: Intended mean speed; the real one comes out of `turned`.
    """

    compression: tuple[float, ...]
    ring_teeth: int
    pinion_teeth: int
    reduction: float
    bars: int
    litres: float
    ratio: float
    inertia: float
    friction: float
    free_rpm: float
    rpm: float

    @property
    def cylinders(self) -> int:
        """Their number."""
        return len(self.compression)


@dataclass(frozen=True, eq=False)
class Turned:
    """A start in `STEP_RATE` steps a second; it begins when the starter gets current.

    Attributes:
        angle: Of the crank, rad.
        speed: Of the crank, rad/s.
        load: Torque at the pinion relative to its mean, at least 0; 0 without current.
        ends_s: When the starter loses its current.
        runs_s: When the engine runs; None if it never does.
        rpm: Mean speed from 0.4 s after the beginning to the end or the first firing: the truth.
    """

    angle: Floats
    speed: Floats
    load: Floats
    ends_s: float
    runs_s: float | None
    rpm: float


@dataclass(frozen=True)
class Firing:
    """An engine that catches.

    Attributes:
        at_s: First firing, after the starter got current.
        rise_s: Time constant of the run-up.
        top_rpm: Speed that it flares to.
        idle_rpm: Speed that it settles at.
        held_s: The starter keeps its current for so long after the first firing.
    """

    at_s: float
    rise_s: float
    top_rpm: float
    idle_rpm: float
    held_s: float


def gas_torque(car: CrankedCar) -> Floats:
    """Torque of the gas over two turns of the crank, Nm, positive against the motion; 1440 cells of half a degree."""
    angle = (np.arange(_CELLS) + 0.5) / _CELLS * 4 * np.pi
    swept = car.litres * 1e-3
    dead = swept / (car.ratio - 1)
    total = np.zeros(_CELLS)
    for number, good in enumerate(car.compression):
        own = (angle + 4 * np.pi * number / car.cylinders) % (4 * np.pi)
        # 0 to 2 pi: compression and expansion; then the valves are open.
        volume = dead + swept * (1 + np.cos(own)) / 2
        slope = -swept * np.sin(own) / 2
        pressure = _AIR_PA * (((dead + swept) / volume) ** _EXPONENT - 1)
        leak = np.where(own < np.pi, 1.0, 0.85)
        total += np.where(own < 2 * np.pi, -good * leak * pressure * slope, 0.0)
    return total


def turned(car: CrankedCar, crank_s: float, seconds: float, firing: Firing | None = None) -> Turned:
    """Let the starter turn the engine.

    Args:
        car: The engine.
        crank_s: For how long the starter has current, unless the engine fires before.
        seconds: Length of the result.
        firing: How it catches; None if it does not.
    """
    gas = gas_torque(car)
    for _ in range(6):
        made = _integrated(car, gas, crank_s, seconds, firing)
        if made is not None:
            return made
        gas = gas * 0.6  # the starter could not get past a compression: a smaller engine
    made = _integrated(car, gas * 0.0, crank_s, seconds, firing)
    assert made is not None  # noqa: S101  nothing resists
    return made


def _integrated(
    car: CrankedCar, gas: Floats, crank_s: float, seconds: float, firing: Firing | None
) -> Turned | None:
    count, step = round(seconds * STEP_RATE), 1 / STEP_RATE
    free = car.free_rpm * math.pi / 30
    stall = (car.friction + float(np.mean(gas))) / max(0.05, 1 - car.rpm / car.free_rpm)
    inertia = max(0.08, min(car.inertia, SPUN_UP_S * stall / free))
    cells, scale = gas.tolist(), _CELLS / (4 * math.pi)
    ends_s = crank_s if firing is None else firing.at_s + firing.held_s
    angle, speed, load = np.zeros(count), np.zeros(count), np.zeros(count)
    now, at = 0.0, 0.0
    for number in range(count):
        time = number * step
        motor = stall * max(0.0, 1 - now / free) if time < ends_s else 0.0
        if firing is not None and time >= firing.at_s:
            now = _running(firing, time - firing.at_s, now)
        else:
            against = cells[int(at * scale) % _CELLS] + car.friction * math.tanh(now / 0.3)
            now += (motor - against) / inertia * step
        at += now * step
        angle[number], speed[number], load[number] = at, now, motor
    first = round(0.4 * STEP_RATE)
    last = round((ends_s if firing is None else firing.at_s) * STEP_RATE)
    steady = speed[min(first, last // 2) : max(last, 1)]
    if steady.min() < 0.25 * car.rpm * math.pi / 30 and bool(gas.any()):
        return None
    runs_s = None
    if firing is not None:
        fast = np.flatnonzero(speed[last:] > RUNS_FROM_RPM * math.pi / 30)
        runs_s = (last + int(fast[0])) * step if fast.size else None
    return Turned(
        angle, speed, load / max(stall / 4, 1e-9), ends_s, runs_s, float(np.mean(steady)) * 30 / math.pi
    )


def _running(firing: Firing, since: float, now: float) -> float:
    wanted = firing.idle_rpm + (firing.top_rpm - firing.idle_rpm) * math.exp(
        -max(0.0, since - 2 * firing.rise_s) / 0.8
    )
    return now + (wanted * math.pi / 30 - now) / (firing.rise_s * STEP_RATE)
