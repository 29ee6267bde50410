"""What happens over one period of blinks in one car, for a picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit import eye
from assistant.circuit.catalogue import Mechanism, circuit_named
from assistant.circuit.instruments import REGISTRY
from assistant.circuit.lamps import METER, TEST_LAMP, Lamp, brightness_of, lamp_named, tables_of
from assistant.circuit.network import GROUND, SOURCES, Rows, nodes_of, reduce, rows_of
from assistant.circuit.observing import check
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.solving import Record, battery_of, settled, steady, turn
from assistant.core.library.procedure import Engine, Measurement

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from assistant.circuit.parameters import Systems

    Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Trace:
    """What happens over one period of blinks in one system; arrays of shape ``(t,)``.

    Attributes:
        time: In seconds from the moment the driver is switched on; steps are unequal, fine in the flyback.
        clip_v: Voltage of the clip's place against the battery's negative post.
        probe_v: Voltage of the probe's place.
        feed_v: Voltage of the feed side.
        current_a: Current through the coil.
        light: Light of the lamp relative to its mean on the battery posts; zeros for a meter.
        seen: What the eye makes of it, in thresholds; 0 where the lamp is dark.
        feed_light: Light of the same lamp on the feed side.
        feed_seen: What the eye makes of that.
    """

    time: Floats
    clip_v: Floats
    probe_v: Floats
    feed_v: Floats
    current_a: Floats
    light: Floats
    seen: Floats
    feed_light: Floats
    feed_seen: Floats


STILL_S = 0.3
"""Duration of a trace in which nothing turns."""


def trace(
    circuit: str,
    mechanism: Mechanism,
    measure: Measurement,
    systems: Systems,
    number: int = 0,
    lamp: str = TEST_LAMP,
) -> Trace:
    """Voltages, current, light and what is seen over time, for one system.

    Args:
        circuit: Name of a circuit.
        mechanism: What is wrong.
        measure: The measurement; a meter or a clamp is traced as a meter, without a light.
        systems: The cars.
        number: Which of them, from 0.
        lamp: What takes the test lamp's place.

    Raises:
        CircuitProblem: The circuit cannot have this measurement, or there is no such system.
    """
    known = circuit_named(circuit)
    measure = measure.usual()
    check(known, measure)
    if not 0 <= number < systems.count:
        raise CircuitProblem(f"There is no system {number}; there are {systems.count}, counted from 0.")
    bulb = REGISTRY[measure.instrument].bulb(lamp_named(lamp))
    chosen = bulb or METER
    rows = rows_of(known, (mechanism,), systems.part([number]))
    nodes = (GROUND, *nodes_of(known))
    probe = measure.probe if measure.probe in nodes else "feed"
    clip = measure.clip if measure.clip in nodes and measure.clip != probe else GROUND
    time, volts, current, light, seen = _traced(rows, measure, (probe, clip), chosen, (clip, probe, "feed"))
    whole = 1.0
    if bulb:
        posts = Measurement("test-lamp", GROUND, "battery-positive", measure.engine)
        _, _, _, posts_light, _ = _traced(rows, posts, ("battery-positive", GROUND), chosen, ())
        whole = float(posts_light.mean())
    feed_time, _, _, feed_light, feed_seen = _traced(rows, measure, ("feed", GROUND), chosen, ())
    whole = max(whole, 1e-12)
    return Trace(
        time,
        volts[0],
        volts[1],
        volts[2],
        current,
        light / whole,
        np.where(light / whole < eye.DARK, 0.0, seen),
        np.interp(time, feed_time, feed_light) / whole,
        np.interp(time, feed_time, np.where(feed_light / whole < eye.DARK, 0.0, feed_seen)),
    )


def _traced(
    rows: Rows, measure: Measurement, across: tuple[str, str], lamp: Lamp, places: Sequence[str]
) -> tuple[Floats, list[Floats], Floats, Floats, Floats]:
    """Time, voltages of places, current, light and what is seen, for one row."""
    rows = settled(rows, measure.engine, measure.unplugged, across, lamp)
    emf, starter = battery_of(rows, measure.engine)
    tables = tables_of(lamp)
    wanted = {name: (name, GROUND) for name in places if name != GROUND}
    turning = measure.engine in (Engine.CRANKING, Engine.RUNNING)
    ports = reduce(
        rows, measure.engine, measure.unplugged, {"lamp": across, **wanted}, steady=not turning
    ).gain
    if not turning:
        time = np.linspace(0, STILL_S, 50)
        volts, kelvin, _ = steady(rows, measure.engine, measure.unplugged, across, lamp)
        conductance = (
            np.interp(kelvin, tables.kelvin, tables.conductance)
            if tables
            else np.array([1 / lamp.resistance])
        )
        drawn = conductance * volts
        found = {
            name: port["battery"] * emf + port["starter"] * starter + port["lamp"] * drawn
            for name, port in ports.items()
        }
        current = np.zeros(1)
        if "coil" not in measure.unplugged:
            current = found["coil"] / rows.values["primary-resistance"]
        flat = np.ones_like(time)
        light = flat * (0.0 if lamp is METER else brightness_of(lamp, np.abs(volts))[0])
        lines = [flat * (found[name][0] if name != GROUND else 0.0) for name in places]
        return time, lines, flat * current[0], light, np.zeros_like(time)
    record = Record()
    waves = turn(rows, measure.engine, measure.unplugged, across, lamp, record)
    time, ampere = (np.concatenate(part) for part in (record.time, record.starter))
    through = {
        "coil": np.concatenate(record.coil),
        "driver": np.concatenate(record.driver),
        "lamp": np.concatenate(record.lamp),
        "trigger": np.concatenate(record.trigger),
    }
    lines = [
        ports[name]["battery"][0] * emf[0]
        + ports[name]["starter"][0] * ampere
        + sum(ports[name][source][0] * through[source] for source in SOURCES[2:])
        if name != GROUND
        else np.zeros_like(time)
        for name in places
    ]
    if len(places) > 1:
        # What lies across the observer is known step by step.  Behind an open switch the sum over the currents is
        # a small difference of large numbers, so it is not used there.
        lines[1] = lines[0] + np.concatenate(record.lamp_v)
    if waves.light is None:
        return time, lines, through["coil"], np.zeros_like(time), np.zeros_like(time)
    even = (np.arange(waves.light.shape[1]) + 0.5) / waves.light.shape[1] * waves.period[0]
    view = eye.seen(waves.light, waves.period)[0]
    light = (
        tables.light_at(np.concatenate(record.kelvin)) if tables else np.interp(time, even, waves.light[0])
    )
    return time, lines, through["coil"], light, np.interp(time, even, view, period=waves.period[0])
