"""The same circuit as a netlist for ngspice, an outside check of the solving.

ngspice shares the element laws with the model, so this checks how they are solved, not the physics.
Here the coil is a coupled pair with k = 0.99, where the model lumps the secondary at k = 1.
A spark is left out: its breakdown has no smooth law; cases to compare have no spark path.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.lamps import LOSS_EXPONENT, RESISTANCE_EXPONENT, ROOM_K, lamp_named, tungsten_heat
from assistant.circuit.network import (
    CYLINDERS,
    GROUND,
    LEAK,
    TRIGGER_OHM,
    TRIGGER_THRESHOLD_V,
    TRIGGER_V,
    Rows,
    nodes_of,
    resistors,
)
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.stepping import CLAMP_OHM, DIODE_V
from assistant.core.library.procedure import Engine

if TYPE_CHECKING:
    from collections.abc import Sequence

COUPLING = 0.99
STEP_S = 5e-6
TRIGGER_SIEMENS = 50.0
"""Slope of a driver in the coil above the threshold of its trigger: all of its current within 0.2 V; chosen."""


@dataclass(frozen=True)
class Beginning:
    """The start of a simulation, and when the driver switches off.

    Attributes:
        kelvin: Filament temperature.
        ampere: Coil current.
        off_s: When the driver switches off, after it was switched on; earlier than the dwell if it protects itself.
    """

    kelvin: float
    ampere: float
    off_s: float


def cranking_netlist(
    rows: Rows,
    unplugged: Sequence[str],
    across: tuple[str, str],
    lamp: str | None,
    begin: Beginning,
    output: str,
    *,
    places: Sequence[str] = (),
    coupling: float = COUPLING,
) -> str:
    """A netlist of one system that is cranked for one period with a filament lamp, or nothing, between two nodes.

    A driver in the coil follows the voltage between its trigger and its ground: here nothing is settled beforehand.

    Args:
        rows: One row.
        unplugged: Parts that are unplugged; not the coil or the module.
        across: Nodes of the lamp, positive first.
        lamp: A lamp with a filament; None for a meter.
        begin: State at the moment when the driver switches on.
        output: File that ngspice writes: time, lamp voltage, coil current, filament temperature (0 for a meter),
            then the voltages of `places` against the battery's negative post.
        places: Nodes, or "tower" for the secondary.
        coupling: Coupling factor k of the two windings; 1 - k^2 of the primary's inductance is leakage.

    Raises:
        CircuitProblem: More than one row, a lamp without a filament, or a circuit with another driver.
    """
    built_in = rows.circuit.kind == "built-in"
    lit = lamp is None or lamp_named(lamp).filament
    if rows.count != 1 or not lit or rows.circuit.kind == "load" or unplugged:
        raise CircuitProblem("A netlist is made of one system with its coil and module, and a filament lamp.")
    net = _Names(rows)
    lines = [
        f"* {rows.circuit.name}, cranking, lamp {lamp or 'none'}",
        *_resistors(net, unplugged),
        *_sources(net),
        *_windings(net, begin, coupling),
    ]
    low, ground = ("coil_low", "coil_ground") if built_in else ("driver_end", "driver_ground")
    across_driver, terminals = f"V({low},{ground})", f"{low} {ground}"
    lines += _driver(rows, net.value, begin.off_s, across_driver, terminals)
    lines += [
        f"Bclamp {terminals} I=max({across_driver}-{net.value['clamp-voltage']:.9g},0)/{CLAMP_OHM:.9g}",
        f"Bdiode {terminals} I=min({across_driver}-({DIODE_V}),0)/{CLAMP_OHM:.9g}",
    ]
    one, other = (net.name[node] for node in across)
    if lamp is None:
        lines += [f"Rmeter {one} {other} 1e9", "Vhot hot 0 0"]
    else:
        lines += _lamp(across, net.name, lamp, begin.kelvin)
    wanted = [
        f"v({one})" + (f"-v({other})" if across[1] != GROUND else ""),
        "i(Lprimary)",
        "v(hot)",
        *(f"v({net.name.get(name, name)})" for name in places),
    ]
    lines += [
        ".options reltol=1e-3 method=gear abstol=1e-8 vntol=1e-5 chgtol=1e-12 itl4=200",
        ".control",
        "set wr_singlescale",
        "set numdgt=9",
        f"tran {STEP_S:g} {net.period:.9g} 0 {2 * STEP_S:g} uic",
        f"wrdata {output} {' '.join(wanted)}",
        ".endc",
        ".end",
    ]
    return "\n".join(lines) + "\n"


class _Names:
    """One system with the names that its nodes have in a netlist.

    Args:
        rows: One row.
    """

    def __init__(self, rows: Rows) -> None:
        self.rows = rows
        self.value = {name: float(values[0]) for name, values in rows.values.items()}
        self.name = {name: name.replace("-", "_") for name in nodes_of(rows.circuit)} | {GROUND: "0"}
        self.surge = self.value["crank-speed"] * CYLINDERS / 120
        """Surges of the starter in a second."""
        self.period = rows.circuit.surges / self.surge


def _resistors(net: _Names, unplugged: Sequence[str]) -> list[str]:
    """The network, and a leak from every node to ground."""
    elements = resistors(net.rows, Engine.CRANKING, unplugged)
    found = [
        f"R{number} {net.name[element.one]} {net.name[element.other]} {float(element.value[0]):.9g}"
        for number, element in enumerate(elements)
        if math.isfinite(float(element.value[0]))
    ]
    nodes = nodes_of(net.rows.circuit)
    return found + [f"Rleak{number} {net.name[name]} 0 {LEAK:g}" for number, name in enumerate(nodes)]


def _sources(net: _Names) -> list[str]:
    """The battery, and the starter with its surges."""
    value = net.value
    delay = value["spark-delay"] / 6 / value["crank-speed"]
    phase = f"({2 * math.pi * net.surge:.12g}*(time-{value['dwell'] - delay:.12g}))"
    swing = value["starter-swing"] / 2
    return [
        f"Vemf emf 0 {value['battery-voltage']:.9g}",
        f"Rbat emf battery_positive {value['battery-resistance']:.9g}",
        (
            f"Bstart starter_terminal engine_block I={value['starter-current']:.9g}"
            f"+{swing:.9g}*(cos{phase}+0.25*cos(2*{phase}))"
        ),
    ]


def _windings(net: _Names, begin: Beginning, coupling: float) -> list[str]:
    """The coil; both windings have their own ground, so that only the magnetic field couples them."""
    value = net.value
    low = "coil_low" if net.rows.circuit.kind == "built-in" else "switched"
    ratio = value["turns-ratio"]
    secondary_farad = value["winding-capacitance"] / ratio**2
    lines = [
        f"Rprimary feed inner {value['primary-resistance']:.9g}",
        f"Lprimary inner {low} {value['primary-inductance']:.9g} ic={begin.ampere:.9g}",
        f"Lsecondary tower 0 {value['primary-inductance'] * ratio**2:.9g} ic=0",
        f"Kcoil Lprimary Lsecondary {coupling}",
        f"Csecondary tower 0 {secondary_farad:.9g} ic=0",
        "Rtower tower 0 1g",
        # Without a little capacitance a node between two coils and a source has no first solution.
        f"Cstray {low} 0 100p",
        "Cdriver driver_end 0 100p",
    ]
    if math.isfinite(value["shorted-turns"]):
        # Only once the driver is off, as in the model.
        shunt = 1 / value["shorted-turns"]
        lines.append(f"Bturns inner {low} I=(time>{begin.off_s:.9g})*{shunt:.9g}*V(inner,{low})")
    return lines


def _driver(rows: Rows, value: dict[str, float], off_s: float, across: str, terminals: str) -> list[str]:
    """The transistor: in the module it follows the command, in the coil the voltage of its trigger."""
    on = f"({across}-{value['driver-saturation']:.9g})/{value['driver-resistance']:.9g}"
    on = f"min(max({on},0),{value['current-limit']:.9g})"
    commanded = f"Vgate gate 0 PWL(0 0 1e-6 1 {off_s:.9g} 1 {off_s + 1e-6:.9g} 0)"
    dead = bool(rows.flags["driver-off"][0])
    if rows.circuit.kind != "built-in":
        return [] if dead else [commanded, f"Bdriver {terminals} I=V(gate)*{on}"]
    lines = []
    if not dead:
        lines += [commanded, f"Btrigger driver_ground driver_end I=V(gate)*{TRIGGER_V / TRIGGER_OHM:.9g}"]
    if not bool(rows.flags["coil-driver-off"][0]):
        steep = f"max({TRIGGER_SIEMENS:g}*(V(switched,coil_ground)-{TRIGGER_THRESHOLD_V:g}),0)"
        lines += [
            f"Bdriver {terminals} I=min({on},{steep})",
            "Cground coil_ground 0 1u",
            "Cend switched 0 1n",
        ]
    return lines


def _lamp(across: tuple[str, str], name_of: dict[str, str], lamp: str, kelvin: float) -> list[str]:
    """The filament: its temperature is the voltage of the node `hot`, on one farad."""
    bulb = lamp_named(lamp)
    one, other = name_of[across[0]], name_of[across[1]]
    volts = f"V({one},{other})" if other != "0" else f"V({one})"
    rated = bulb.volts / bulb.amperes
    design, exponent = bulb.design_k, LOSS_EXPONENT
    conductance = f"(1/({rated:.9g}*pow(V(hot)/{design:g},{RESISTANCE_EXPONENT})))"
    span = design**exponent - ROOM_K**exponent
    loss = (
        f"({bulb.volts * bulb.amperes:.9g}*({1 - bulb.conduction:g}*(pow(V(hot),{exponent})-{ROOM_K**exponent:.9g})"
        f"/{span:.9g}+{bulb.conduction:g}*(V(hot)-{ROOM_K:g})/{design - ROOM_K:g}))"
    )
    scale = bulb.heat / float(tungsten_heat(np.array([design]))[0])
    heat = (
        f"({scale:.9g}*(24.943*(1-4805/(V(hot)*V(hot)))+1.674e-3*V(hot)"
        "+4.25e-10*V(hot)*V(hot)*V(hot))/0.18384)"
    )
    return [
        f"Blamp {one} {other} I={volts}*{conductance}",
        f"Chot hot 0 1 ic={kelvin:.9g}",
        "Rhot hot 0 1e15",
        f"Bheat 0 hot I=({volts}*{volts}*{conductance}-{loss})/{heat}",
    ]
