"""Direct current: the voltage across an observer while nothing turns, and the settled parts of the network.

A turning engine is stepped in `turning`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit import contacts
from assistant.circuit.beginning import battery_of, held_ohm, lifted_cap, start_of, with_held
from assistant.circuit.lamps import Lamp, filament
from assistant.circuit.network import HELD_ON, TRIGGER_THRESHOLD_V, Ports, Rows, reduce
from assistant.core.library.procedure import Engine

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

FIXED_POINT_ROUNDS = 60


def steady_voltage(lamp: Lamp, source: Floats, resistance: Floats) -> tuple[Floats, Floats]:
    """Voltage across a lamp behind a resistance on direct current, and its temperature or 0.

    A filament starts cold, so of several possible states the coldest is taken.
    """
    if lamp.diode:
        # The diode's own voltage opposes the source; below it no current flows.
        drop = np.minimum(np.abs(source), lamp.threshold)
        ampere = (np.abs(source) - drop) / (resistance + lamp.resistance)
        return np.sign(source) * (drop + ampere * lamp.resistance), np.zeros_like(source)
    if not lamp.filament:
        return source / (1 + resistance / lamp.resistance), np.zeros_like(source)
    tables = filament(lamp)
    kelvin = np.full_like(source, 300.0)
    volts = source
    for _ in range(FIXED_POINT_ROUNDS):
        conductance = np.interp(kelvin, tables.kelvin, tables.conductance)
        volts = source / (1 + resistance * conductance)
        kelvin = tables.steady_kelvin(volts)
    return volts, kelvin


def steady(
    rows: Rows, engine: Engine, unplugged: Sequence[str], across: tuple[str, str], lamp: Lamp
) -> tuple[Floats, Floats, Ports]:
    """Direct current: voltage across the observer, its temperature (0 without a filament), and the ports."""
    return _steady(settled(rows, engine, unplugged, across, lamp), engine, unplugged, across, lamp, {})


def _steady(
    rows: Rows,
    engine: Engine,
    unplugged: Sequence[str],
    across: tuple[str, str],
    lamp: Lamp,
    extra: dict[str, tuple[str, str]],
) -> tuple[Floats, Floats, Ports]:
    emf, starter = battery_of(rows, engine)
    ports = reduce(
        rows, engine, unplugged, {"lamp": across, "feed-wire": ("fuse-load", "feed"), **extra}, steady=True
    )
    source = ports.gain["lamp"]["battery"] * emf + ports.gain["lamp"]["starter"] * starter
    volts, kelvin = steady_voltage(lamp, source, -ports.gain["lamp"]["lamp"])
    return volts, kelvin, ports


def settled(
    rows: Rows, engine: Engine, unplugged: Sequence[str], across: tuple[str, str], lamp: Lamp
) -> Rows:
    """The same rows, with contacts that fail under current and drivers that are held on as plain resistances.

    Call it before solving the network with `network.reduce`; a second call changes nothing.
    """
    worn = contacts.there(rows)
    built_in = rows.circuit.kind == "built-in" and "coil" not in unplugged
    if not worn and not built_in:
        return rows
    if engine in (Engine.CRANKING, Engine.RUNNING):
        return start_of(rows, engine, unplugged, across, lamp).rows
    emf, starter = battery_of(rows, engine)
    extra = {"trigger": ("switched", "coil-ground")} if built_in else {}
    if worn:
        extra |= contacts.ports()
    volts, _, ports = _steady(rows, engine, unplugged, across, lamp, extra)
    gain = ports.gain
    source = gain["lamp"]["battery"] * emf + gain["lamp"]["starter"] * starter
    drawn = (source - volts) / -gain["lamp"]["lamp"]
    sources = {"battery": emf, "starter": starter, "lamp": drawn}
    if built_in:
        seen = sum((gain["trigger"][name] * value for name, value in sources.items()), np.zeros(rows.count))
        held = (seen > TRIGGER_THRESHOLD_V) & ~rows.flags["coil-driver-off"] & np.isinf(rows.values[HELD_ON])
        if bool(held.any()):
            whole = reduce(rows, engine, unplugged, {"lamp": across, **extra}).gain
            cap = np.minimum(rows.values["current-limit"], lifted_cap(whole, seen))
            rows = with_held(rows, held, held_ohm(rows, whole, emf, starter, drawn, cap))
            return settled(rows, engine, unplugged, across, lamp)
    if worn:
        ampere = contacts.currents(rows, engine, gain, sources)
        return contacts.failed(rows, ampere, np.zeros(rows.count, dtype=bool))
    return rows


def resistance_between(
    rows: Rows, engine: Engine, unplugged: Sequence[str], across: tuple[str, str]
) -> Floats:
    """Resistance between two nodes with no source, in ohm, shape ``(rows,)``."""
    ports = reduce(rows, engine, unplugged, {"lamp": across}, steady=True)
    return -ports.gain["lamp"]["lamp"]
