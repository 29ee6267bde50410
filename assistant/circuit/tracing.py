"""Curves over time: what happens at the places of a measurement, in one car or in many that differ in their fault."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit import eye
from assistant.circuit.beginning import battery_of
from assistant.circuit.catalogue import circuit_named
from assistant.circuit.instruments import REGISTRY
from assistant.circuit.instruments.clamp import INRUSH_STEP_S, inrush_curve
from assistant.circuit.instruments.led_light import DIODE
from assistant.circuit.lamps import (
    HEAVY_LAMP,
    METER,
    TEST_LAMP,
    Lamp,
    brightness_of,
    lamp_named,
    tables_of,
)
from assistant.circuit.moving import Steps
from assistant.circuit.network import GROUND, SOURCES, Rows, nodes_of, reduce, rows_of
from assistant.circuit.observing import check
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.solving import settled, steady
from assistant.circuit.turning import turn
from assistant.core.library.procedure import Engine, Measurement
from assistant.core.library.vocabulary import HEAVY_LAMP_BETWEEN

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from assistant.circuit.catalogue import Mechanism
    from assistant.circuit.parameters import Systems

    Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Trace:
    """One period of blinks in one system; arrays of shape ``(t,)``.

    Attributes:
        time: In seconds from the moment the driver is switched on; steps are unequal, fine in the flyback.
        clip_v: Voltage of the clip's place against the battery's negative post.
        probe_v: Voltage of the probe's place.
        feed_v: Voltage of the feed side.
        current_a: Current through the coil.
        light: Light of the lamp relative to its mean on the battery posts; zeros for a meter.
        seen: The visible part of its changes, in thresholds of the eye; 0 while the lamp is dark.
        feed_light: Light of the same lamp on the feed side.
        feed_seen: The visible part of that.
        load_a: Current through the lamp: the instrument, or the heavy lamp that loads the circuit for a meter.
        starter_a: Current of the starter.
        own: Whether the measured points are points of the circuit; else `probe_v` is the feed's.
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
    load_a: Floats
    starter_a: Floats
    own: bool


STILL_S = 0.3
"""Duration of a trace in which nothing turns."""


@dataclass(frozen=True, eq=False)
class _Curves:
    """Curves with one observer; arrays of shape ``(t, rows)``, `volts` one for each place."""

    time: Floats
    volts: list[Floats]
    current: Floats
    light: Floats
    seen: Floats
    load: Floats
    starter: Floats


def trace(
    circuit: str,
    mechanism: Mechanism,
    measure: Measurement,
    systems: Systems,
    number: int = 0,
    lamp: str = TEST_LAMP,
) -> Trace:
    """Voltages, current, light and what is seen over time, for one system; see `traces`."""
    (found,) = traces(circuit, (mechanism,), measure, systems, number, lamp)
    return found


def traces(
    circuit: str,
    wanted: Sequence[Mechanism],
    measure: Measurement,
    systems: Systems,
    number: int = 0,
    lamp: str = TEST_LAMP,
) -> list[Trace]:
    """The same measurement on one system with each of these mechanisms, computed together.

    Args:
        circuit: Name of a circuit.
        wanted: The mechanisms, one trace for each.
        measure: The measurement; a meter is traced with the lamp that loads the circuit for it, a clamp without.
        systems: The cars.
        number: Which of them, from 0.
        lamp: The lamp in the test lamp's place.

    Raises:
        CircuitProblem: The circuit cannot have this measurement, or there is no such system.
    """
    known = circuit_named(circuit)
    measure = measure.usual()
    check(known, measure)
    if not 0 <= number < systems.count:
        raise CircuitProblem(f"There is no system {number}; there are {systems.count}, counted from 0.")
    bulb = DIODE if measure.instrument == "led-light" else REGISTRY[measure.instrument].bulb(lamp_named(lamp))
    rows = rows_of(known, wanted, systems.part([number]))
    nodes = (GROUND, *nodes_of(known))
    probe = measure.probe if measure.probe in nodes else "feed"
    clip = measure.clip if measure.clip in nodes and measure.clip != probe else GROUND
    across, chosen = (probe, clip), bulb or METER
    if measure.instrument in HEAVY_LAMP_BETWEEN:
        positive, negative = HEAVY_LAMP_BETWEEN[measure.instrument]
        across, chosen = (positive, negative or probe), lamp_named(HEAVY_LAMP)
    here = _curves(rows, measure, across, chosen, (clip, probe, "feed"))
    if measure.probe == "heavy-lamp-lead":
        here = _tapped(here, systems.part([number]))
    whole, feed = np.ones(rows.count), here
    if bulb:
        feed = _curves(rows, measure, ("feed", GROUND), chosen, ())
        posts = Measurement("test-lamp", GROUND, "battery-positive", measure.engine)
        whole = _curves(rows, posts, ("battery-positive", GROUND), chosen, ()).light.mean(axis=0)
    whole = np.maximum(whole, 1e-12)
    light, feed_light = here.light / whole, feed.light / whole
    seen = np.where(light < eye.DARK, 0.0, here.seen)
    feed_seen = np.where(feed_light < eye.DARK, 0.0, feed.seen)
    clip_v, probe_v, feed_v = here.volts
    return [
        Trace(
            time,
            clip_v[:, row],
            probe_v[:, row],
            feed_v[:, row],
            here.current[:, row],
            light[:, row],
            seen[:, row],
            np.interp(time, feed.time[:, row], feed_light[:, row]),
            np.interp(time, feed.time[:, row], feed_seen[:, row]),
            here.load[:, row],
            here.starter[:, row],
            own=measure.probe in nodes,
        )
        for row, time in enumerate(np.ascontiguousarray(here.time.T))
    ]


def _curves(
    rows: Rows, measure: Measurement, across: tuple[str, str], lamp: Lamp, places: Sequence[str]
) -> _Curves:
    """Curves with this observer across two nodes; voltages of these places."""
    rows = settled(rows, measure.engine, measure.unplugged, across, lamp)
    if measure.engine in (Engine.CRANKING, Engine.RUNNING):
        return _turning(rows, measure, across, lamp, places)
    return _still(rows, measure, across, lamp, places)


def _still(
    rows: Rows, measure: Measurement, across: tuple[str, str], lamp: Lamp, places: Sequence[str]
) -> _Curves:
    """Straight lines: nothing turns."""
    emf, starter = battery_of(rows, measure.engine)
    tables = tables_of(lamp)
    ports = reduce(rows, measure.engine, measure.unplugged, _ports(across, places), steady=True).gain
    volts, kelvin, _ = steady(rows, measure.engine, measure.unplugged, across, lamp)
    conductance = (
        np.interp(kelvin, tables.kelvin, tables.conductance)
        if tables
        else np.full(rows.count, 1 / lamp.resistance)
    )
    drawn = conductance * volts
    found = {
        name: port["battery"] * emf + port["starter"] * starter + port["lamp"] * drawn
        for name, port in ports.items()
    }
    dark = np.zeros(rows.count)
    current = dark if "coil" in measure.unplugged else found["coil"] / rows.values["primary-resistance"]
    flat = np.ones((50, rows.count))
    return _Curves(
        np.tile(np.linspace(0, STILL_S, 50)[:, None], (1, rows.count)),
        [flat * (found[name] if name != GROUND else 0.0) for name in places],
        flat * current,
        flat * (dark if lamp is METER else brightness_of(lamp, np.abs(volts))),
        np.zeros_like(flat),
        flat * drawn,
        flat * starter,
    )


def _tapped(still: _Curves, systems: Systems) -> _Curves:
    """The same with the heavy lamp tapped on the battery: its inrush, during which nothing else changes."""
    drawn = inrush_curve(systems)
    count, rows = len(drawn), still.time.shape[1]

    def on(values: Floats) -> Floats:
        return np.tile(values[:1], (count, 1))

    return _Curves(
        np.tile(INRUSH_STEP_S * np.arange(count)[:, None], (1, rows)),
        [on(volts) for volts in still.volts],
        on(still.current),
        on(still.light),
        on(still.seen),
        np.tile(drawn, (1, rows)),
        on(still.starter),
    )


def _turning(
    rows: Rows, measure: Measurement, across: tuple[str, str], lamp: Lamp, places: Sequence[str]
) -> _Curves:
    """One period of blinks."""
    emf, _ = battery_of(rows, measure.engine)
    tables = tables_of(lamp)
    ports = reduce(rows, measure.engine, measure.unplugged, _ports(across, places)).gain
    record = Steps()
    waves = turn(rows, measure.engine, measure.unplugged, across, lamp, record)
    time, ampere = np.stack(record.time), np.stack(record.starter)
    through = {
        "coil": np.stack(record.coil),
        "driver": np.stack(record.driver),
        "lamp": np.stack(record.lamp),
        "trigger": np.stack(record.trigger),
    }
    lines = [
        ports[name]["battery"] * emf
        + ports[name]["starter"] * ampere
        + sum(ports[name][source] * through[source] for source in SOURCES[2:])
        if name != GROUND
        else np.zeros_like(time)
        for name in places
    ]
    if len(places) > 1:
        # The record has the voltage across the observer at each step. Behind an open switch the sum over the
        # currents is a small difference of large numbers, so it is not used there.
        lines[1] = lines[0] + np.stack(record.lamp_v)
    if waves.light is None:
        dark = np.zeros_like(time)
        return _Curves(time, lines, through["coil"], dark, dark, through["lamp"], ampere)
    samples = waves.light.shape[1]
    even = (np.arange(samples) + 0.5) / samples * waves.period[:, None]
    view = eye.seen(waves.light, waves.period)
    each = range(rows.count)
    light = (
        tables.light_at(np.stack(record.kelvin))
        if tables
        else np.stack([np.interp(time[:, row], even[row], waves.light[row]) for row in each], axis=1)
    )
    seen = [np.interp(time[:, row], even[row], view[row], period=waves.period[row]) for row in each]
    return _Curves(time, lines, through["coil"], light, np.stack(seen, axis=1), through["lamp"], ampere)


def _ports(across: tuple[str, str], places: Sequence[str]) -> dict[str, tuple[str, str]]:
    """The observer and the places as ports of the network."""
    return {"lamp": across, **{name: (name, GROUND) for name in places if name != GROUND}}
