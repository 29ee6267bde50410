"""The first moment of a turning engine's simulation, and the parts of the network that are settled by then.

The lamp and the coil start as the means of battery and starter leave them.
From that follows whether the driver gets its command, whether its trigger is held high from outside, and which
contacts fail under the coil's current.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit import contacts
from assistant.circuit.lamps import Filament, Lamp, filament
from assistant.circuit.network import (
    HELD_ON,
    RUNNING_SPEED,
    RUNNING_V,
    TRIGGER_THRESHOLD_V,
    TRIGGER_V,
    Rows,
    reduce,
)
from assistant.core.library.procedure import Engine

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Booleans = NDArray[np.bool_]
    Gain = Mapping[str, Mapping[str, Floats]]

PEAK_OF_SURGE = 1.25
"""Greatest value of ``cos x + 0.25 cos 2x``, the shape of the starter's current."""
HELD_FROM_A = 0.01
"""A driver that is held on but would carry less than this current, in A, counts as off."""


@dataclass(frozen=True, eq=False)
class Start:
    """The first moment; arrays of shape ``(rows,)``.

    Attributes:
        rows: The rows, with contacts settled and drivers held on.
        gain: Gains of the ports.
        conductance: Conductance of the observer.
        kelvin: Temperature of its filament, 0 without one.
        current: Current through the coil, in A.
        commanded: Whether the driver is switched on and off.
        trigger: Voltage that the module gives a driver in the coil while that is on.
        cap: Current in A above which the driver lets no more through.
    """

    rows: Rows
    gain: Gain
    conductance: Floats
    kelvin: Floats
    current: Floats
    commanded: Booleans
    trigger: Floats
    cap: Floats


def battery_of(rows: Rows, engine: Engine) -> tuple[Floats, Floats]:
    """Voltage behind the battery's resistance and mean current of the starter in this state."""
    values = rows.values
    nothing = np.zeros(rows.count)
    if engine is Engine.CRANKING:
        return values["battery-voltage"], values["starter-current"]
    if engine is Engine.RUNNING:
        return np.full(rows.count, RUNNING_V), nothing
    return values["battery-voltage"] + values["polarisation"], nothing


def speed_of(rows: Rows, engine: Engine) -> Floats:
    """Engine speed in 1/min."""
    return np.full(rows.count, RUNNING_SPEED) if engine is Engine.RUNNING else rows.values["crank-speed"]


def swing_of(rows: Rows, engine: Engine) -> Floats:
    """Half the starter's swing in A, peak to valley; 0 unless it turns the engine."""
    return rows.values["starter-swing"] / 2 if engine is Engine.CRANKING else np.zeros(rows.count)


def start_of(
    rows: Rows, engine: Engine, unplugged: Sequence[str], across: tuple[str, str], lamp: Lamp
) -> Start:
    """The first moment of a turning engine with an observer between two nodes.

    Args:
        rows: Systems with their faults.
        engine: Cranking or running.
        unplugged: Parts that are unplugged.
        across: Nodes of the observer, positive first.
        lamp: The observer.
    """
    built_in = rows.circuit.kind == "built-in"
    worn = contacts.there(rows)
    extra = {"lamp": across, "supply": ("driver-supply", "driver-ground")}
    if built_in:
        extra["trigger"] = ("switched", "coil-ground")
    if worn:
        extra |= contacts.ports()
    gain = reduce(rows, engine, unplugged, extra).gain
    emf, starter = battery_of(rows, engine)
    coil_in = "coil" not in unplugged
    conductance, kelvin, current = _first(rows, gain, (emf, starter), lamp, coil_in=coil_in)
    base = gain["lamp"]["battery"] * emf + gain["lamp"]["starter"] * starter
    drawn = conductance / (1 - conductance * gain["lamp"]["lamp"]) * (base + gain["lamp"]["coil"] * current)

    # The module resets at the lowest voltage of a surge, not at the mean.
    most = starter + PEAK_OF_SURGE * swing_of(rows, engine)
    supply = gain["supply"]
    supply_v = supply["battery"] * emf + supply["starter"] * most
    supply_v = supply_v + supply["lamp"] * drawn + supply["coil"] * current
    commanded = (supply_v >= rows.values["module-reset-voltage"]) & ~rows.flags["driver-off"]
    if "module" in unplugged or (built_in and not coil_in):
        commanded = np.zeros(rows.count, dtype=bool)
    trigger = np.zeros(rows.count)
    cap = rows.values["current-limit"]
    held = np.zeros(rows.count, dtype=bool)
    if built_in and coil_in:
        tables = filament(lamp) if lamp.filament else None
        cold = _cold(conductance, tables, across)
        high, low = (_trigger_v(gain, (emf, starter), base, cold, level) for level in (TRIGGER_V, 0.0))
        trigger = np.where(commanded, TRIGGER_V, 0.0)
        commanded = commanded & (high > TRIGGER_THRESHOLD_V) & (low < TRIGGER_THRESHOLD_V)
        commanded &= ~rows.flags["coil-driver-off"]
        held = (low > TRIGGER_THRESHOLD_V) & ~rows.flags["coil-driver-off"] & np.isinf(rows.values[HELD_ON])
        cap = np.minimum(cap, lifted_cap(gain, np.where(commanded, high, low)))
    if bool(held.any()):
        ohm = held_ohm(rows, gain, emf, starter, drawn, cap)
        return start_of(with_held(rows, held, ohm), engine, unplugged, across, lamp)
    if worn:
        sources = {"battery": emf, "starter": starter, "coil": current, "lamp": drawn}
        ampere = contacts.currents(rows, engine, gain, sources)
        return start_of(contacts.failed(rows, ampere, commanded), engine, unplugged, across, lamp)
    return Start(rows, gain, conductance, kelvin, current, commanded, trigger, cap)


def _first(
    rows: Rows, gain: Gain, sources: tuple[Floats, Floats], lamp: Lamp, *, coil_in: bool
) -> tuple[Floats, Floats, Floats]:
    """Conductance and temperature of the observer, and the coil's current, with the driver off."""
    emf, starter = sources
    base, coil_base = (
        gain[port]["battery"] * emf + gain[port]["starter"] * starter for port in ("lamp", "coil")
    )
    z_ll, z_lp, z_pl, z_pp = (
        gain["lamp"]["lamp"],
        gain["lamp"]["coil"],
        gain["coil"]["lamp"],
        gain["coil"]["coil"],
    )
    resistance = rows.values["primary-resistance"] if coil_in else np.full(rows.count, 1e8)
    kelvin = np.zeros(rows.count)
    current = np.zeros(rows.count)
    if lamp.filament:
        tables = filament(lamp)
        conductance = np.full(rows.count, float(tables.conductance[tables.place(np.array([1800.0]))[0]]))
        for _ in range(12):
            k = conductance / (1 - conductance * z_ll)
            current = (coil_base + z_pl * k * base) / (resistance - z_pp - z_pl * k * z_lp)
            volts = (base + z_lp * current) / (1 - conductance * z_ll)
            kelvin = tables.steady_kelvin(volts)
            conductance = tables.conductance[tables.place(kelvin)]
    else:
        conductance = np.full(rows.count, 1 / lamp.resistance)
        k = conductance / (1 - conductance * z_ll)
        current = (coil_base + z_pl * k * base) / (resistance - z_pp - z_pl * k * z_lp)
    return conductance, kelvin, current


def _cold(conductance: Floats, tables: Filament | None, across: tuple[str, str]) -> Floats:
    """Conductance of an observer on the trigger's wire: a cold filament is a short for a trigger of 5 V."""
    if tables is None or not set(across) & {"switched", "driver-end"}:
        return conductance
    return np.full(len(conductance), float(tables.conductance[tables.place(np.array([300.0]))[0]]))


def _trigger_v(
    gain: Gain, sources: tuple[Floats, Floats], base: Floats, conductance: Floats, level: float
) -> Floats:
    """Voltage of the trigger against the coil's ground, for a voltage that the module gives."""
    seen = gain["trigger"]
    took = conductance / (1 - conductance * gain["lamp"]["lamp"])
    return (
        seen["battery"] * sources[0]
        + seen["starter"] * sources[1]
        + seen["trigger"] * level
        + seen["lamp"] * took * (base + gain["lamp"]["trigger"] * level)
    )


def lifted_cap(gain: Gain, trigger_v: Floats) -> Floats:
    """Current in A that lifts the ground of a driver in the coil until its trigger is at the threshold.

    The transistor is taken to hold the current there; a trigger input with a wide hysteresis would switch off and
    on instead, at the same mean.
    """
    lift = -(gain["trigger"]["driver"] + gain["trigger"]["coil"])
    over = np.maximum(trigger_v - TRIGGER_THRESHOLD_V, 0.0)
    return np.where(lift > 0, over / np.maximum(lift, 1e-9), np.inf)


def held_ohm(rows: Rows, gain: Gain, emf: Floats, starter: Floats, drawn: Floats, cap: Floats) -> Floats:
    """The resistance that lets the same current through as a driver that is always on; infinite if none flows.

    The gains are those with the coil as a port.
    """
    values = rows.values
    saturation, on_ohm = values["driver-saturation"], values["driver-resistance"]
    b_d, b_p = (
        gain[port]["battery"] * emf + gain[port]["starter"] * starter + gain[port]["lamp"] * drawn
        for port in ("driver", "coil")
    )
    z_dd, z_dp = gain["driver"]["driver"], gain["driver"]["coil"]
    z_pd, z_pp = gain["coil"]["driver"], gain["coil"]["coil"]
    through = 1 / (on_ohm - z_dd)
    r_off = values["primary-resistance"] - z_pp
    coil = (b_p + z_pd * through * (b_d - saturation)) / (r_off - z_pd * through * z_dp)
    ampere = np.minimum(through * (b_d - saturation + z_dp * coil), cap)
    coil = (b_p + z_pd * ampere) / r_off
    volts = b_d + z_dp * coil + z_dd * ampere
    flows = ampere > HELD_FROM_A
    return np.where(flows, volts / np.where(flows, ampere, 1.0), np.inf)


def with_held(rows: Rows, held: Booleans, ohm: Floats) -> Rows:
    """The same rows with the drivers of some held on; those that carry no current get an open circuit instead."""
    kept = np.where(held, np.where(np.isfinite(ohm), ohm, 1e12), rows.values[HELD_ON])
    return replace(rows, values={**rows.values, HELD_ON: kept})
