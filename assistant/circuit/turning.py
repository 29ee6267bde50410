"""A turning engine: one period of blinks, for all rows at once.

Two periods are computed and the second is kept: a filament forgets the first by then.
`deviations.STATED` lists the differences from a car.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.beginning import battery_of, speed_of, start_of, swing_of
from assistant.circuit.cars import Car, Coil, Driver, Port, Surge
from assistant.circuit.lamps import tables_of
from assistant.circuit.moving import Kept, Moving
from assistant.circuit.network import CYLINDERS, Rows
from assistant.circuit.stepping import dwell, flyback, rest

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from assistant.circuit.beginning import Start
    from assistant.circuit.lamps import Lamp
    from assistant.circuit.moving import Steps
    from assistant.core.library.procedure import Engine

    Floats = NDArray[np.float64]

SAMPLES = 128
"""Equally spaced samples of light for one surge."""
PERIODS = 2


@dataclass(frozen=True, eq=False)
class Waves:
    """The result of one simulation.

    Attributes:
        light: Equally spaced samples over a period, shape ``(rows, samples)``; None without a light.
        mean_v: Mean voltage across the observer, shape ``(rows,)``.
        peak_a: Greatest current through the coil, shape ``(rows,)``.
        top_v: Greatest voltage across the observer outside the flyback, shape ``(rows,)``.
        low_v: Least.
        period: Duration of a period in seconds, shape ``(rows,)``.
        available_v: Greatest secondary voltage reached, shape ``(rows,)``.
        least_a: Least current through the coil while the driver is off, shape ``(rows,)``.
        limit_s: Time from switching on until the driver limits the current; infinite if it does not.
        on_s: Time for which the driver was on; 0 if it never was.
        mean_a: Mean current through the coil.
    """

    light: Floats | None
    mean_v: Floats
    peak_a: Floats
    top_v: Floats
    low_v: Floats
    period: Floats
    available_v: Floats
    least_a: Floats
    limit_s: Floats
    on_s: Floats
    mean_a: Floats


def turn(
    rows: Rows,
    engine: Engine,
    unplugged: Sequence[str],
    across: tuple[str, str],
    lamp: Lamp,
    record: Steps | None = None,
) -> Waves:
    """Simulate a turning engine with an observer between two nodes.

    Args:
        rows: Systems with their faults.
        engine: Cranking or running.
        unplugged: Parts that are unplugged.
        across: Nodes of the observer, positive first.
        lamp: The observer.
        record: Takes every step of the last period, for a picture.
    """
    start = start_of(rows, engine, unplugged, across, lamp)
    car = _car(start, engine, coil_in="coil" not in unplugged)
    now = Moving(lamp, start)
    kept = Kept(rows.count, record)
    off = np.zeros(rows.count)
    for number in range(PERIODS):
        keep = kept if number == PERIODS - 1 else None
        off = dwell(car, now, keep)
        time = flyback(car, now, keep, off)
        rest(car, now, keep, time)
    period = car.surge.period
    tables = tables_of(lamp)
    light = None
    if kept.lights:
        lights = [tables.light_at(kelvin) for kelvin in kept.lights] if tables else kept.lights
        light = _even(kept.times, lights, period, SAMPLES * rows.circuit.surges)
    return Waves(
        light=light,
        mean_v=kept.area / period,
        peak_a=kept.peak,
        top_v=kept.top,
        low_v=kept.low,
        period=period,
        available_v=now.available,
        least_a=kept.least,
        limit_s=kept.limit_s,
        on_s=np.where(car.driver.commanded, off, 0.0),
        mean_a=kept.charge / period,
    )


def _car(start: Start, engine: Engine, *, coil_in: bool) -> Car:
    """The cars as the steps need them, from the first moment."""
    rows, values = start.rows, start.rows.values
    emf, mean_starter = battery_of(rows, engine)
    surges = speed_of(rows, engine) * CYLINDERS / 120
    surge = Surge(
        period=rows.circuit.surges / surges,
        omega=2 * np.pi * surges,
        mean=mean_starter,
        half_swing=swing_of(rows, engine),
        dwell=values["dwell"],
        delay=values["spark-delay"] / 6 / speed_of(rows, engine),
    )
    at = {
        name: Port(gain["battery"] * emf, gain["starter"], gain["lamp"], gain["driver"], gain["coil"])
        for name, gain in start.gain.items()
    }
    driver = Driver(
        saturation=values["driver-saturation"],
        on_ohm=values["driver-resistance"],
        limit=values["current-limit"],
        clamp=values["clamp-voltage"],
        protection_s=values["protection-time"],
        commanded=start.commanded,
        cap=start.cap,
        trigger=start.trigger,
        lamp_v=start.gain["lamp"]["trigger"] * start.trigger,
    )
    return Car(
        rows.count,
        rows.circuit,
        at["lamp"],
        at["driver"],
        at["coil"],
        _coil(rows, coil_in=coil_in),
        driver,
        surge,
    )


def _coil(rows: Rows, *, coil_in: bool) -> Coil:
    """The primary, with the secondary seen from its side."""
    values = rows.values
    ratio = values["turns-ratio"]
    breakdown = np.where(rows.flags["no-spark-path"], np.inf, values["breakdown-voltage"] / ratio)
    if rows.circuit.kind == "load":
        breakdown = np.full(rows.count, np.inf)
    # Shorted turns replace the spark: a resistance across the winding, from the first moment on.
    shorted = np.isfinite(values["shorted-turns"])
    return Coil(
        resistance=values["primary-resistance"] if coil_in else np.full(rows.count, 1e8),
        inductance=values["primary-inductance"],
        ratio=ratio,
        breakdown=breakdown,
        burning=np.where(shorted, 0.0, values["burning-voltage"] / ratio),
        spark=np.where(shorted, 1 / values["shorted-turns"], ratio**2 / values["secondary-resistance"]),
        hold=np.where(shorted, -np.inf, values["holding-current"] * ratio),
        capacitance=values["winding-capacitance"],
        shorted=shorted,
    )


def _even(times: list[Floats], light: list[Floats], period: Floats, samples: int) -> Floats:
    """Values at unequal times of each row, as equally spaced samples of shape ``(rows, samples)``."""
    known = np.stack(times, axis=1) / period[:, None]
    rows = np.arange(known.shape[0])[:, None] * 2.0
    wanted = (np.arange(samples) + 0.5) / samples + rows
    found = np.interp(wanted.ravel(), (known + rows).ravel(), np.stack(light, axis=1).ravel())
    return found.reshape(wanted.shape)
