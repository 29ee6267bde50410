"""The network of a car: nodes and resistors, reduced to the ports of the moving parts.

The network is linear except for the driver, the coil and the lamp.
Those three are taken out, each as a port, and the rest is solved once for each system: how much each port's
voltage moves for a volt of the battery, an ampere of the starter, and an ampere through each port.
Node 0 is the battery's negative post.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.catalogue import Change, Circuit, Mechanism
from assistant.circuit.parameters import RESISTANCE_OPEN, Systems
from assistant.core.library.procedure import Engine

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Booleans = NDArray[np.bool_]

GROUND = "battery-negative"
NODES = (
    "battery-positive",
    "engine-block",
    "starter-terminal",
    "relay-supply",
    "relay-coil-supply",
    "relay-control",
    "fuse-supply",
    "fuse-load",
    "feed",
    "switched",
    "driver-end",
    "driver-ground",
    "driver-supply",
)
BUILT_IN_NODES = (*NODES, "coil-low", "coil-ground")

LEAK = 1e9
"""From every node to ground, in ohm, so that a node that nothing touches has a voltage."""
OFF_LEAK = 2e6
"""Through a driver that is off, in ohm; chosen, not fitted."""
TRIGGER_V = 5.0
TRIGGER_OHM = 470.0
TRIGGER_INPUT_OHM = 10e3
TRIGGER_THRESHOLD_V = 2.5
COIL_GROUND_OHM = 0.02
LOAD_CAPACITANCE = 20e-9
RUNNING_V = 14.2
RUNNING_SPEED = 800.0
CYLINDERS = 4

RELAY_SWITCH_OHM = 0.05
RELAY_CONTROL_OHM = 1.0
"""Ignition switch, and output of the control computer that pulls the relay; chosen, not fitted."""

FEED_SHARES = {"relay-link": 0.1, "relay": 0.2, "fuse": 0.1, "feed-wire": 0.6}
"""Shares of the feed's parts in its resistance; chosen, not fitted."""

UNDER_CURRENT = "-under-current"
CONTACTS = {
    "control-wire": ("switched", "driver-end"),
    "feed-wire": ("fuse-load", "feed"),
    "module-ground": None,
}
"""Elements that can be good under a meter and bad under the coil's current, and their nodes.

``values["feed-wire-under-current"]`` is the resistance in ohm that the element has then; infinite if it has no
such fault.  The module's ground has its nodes by `ground_of`.
"""
HELD_ON = "held-on"
"""A driver inside the coil whose trigger is held high from outside, as a resistance; infinite if it is not."""


@dataclass(frozen=True)
class Resistor:
    """An element between two nodes; `value` has shape ``(rows,)``, in ohm."""

    name: str
    one: str
    other: str
    value: Floats


@dataclass(frozen=True, eq=False)
class Rows:
    """All values of some mechanisms on some systems, one row each: mechanism by mechanism.

    Attributes:
        circuit: The circuit.
        count: Number of rows.
        values: Parameter or element name -> values, shape ``(rows,)``.
        flags: Flag -> whether the row has it, shape ``(rows,)``.
    """

    circuit: Circuit
    count: int
    values: dict[str, Floats]
    flags: dict[str, Booleans]


FLAGS = (
    "no-spark-path",
    "secondary-open",
    "lead-to-ground",
    "wide-gap",
    "relay-drops-out",
    "relay-switch-drops-out",
    "relay-control-drops-out",
    "driver-off",
    "crank-signal-missing",
    "cam-signal-missing",
    "security-lamp",
    "command-missing",
    "terminals-swapped",
    "sensor-supply-missing",
    "coil-driver-off",
)


def rows_of(circuit: Circuit, wanted: Sequence[Mechanism], systems: Systems) -> Rows:
    """Apply each mechanism to each system."""
    base = dict(systems.values)
    for name, share in FEED_SHARES.items():
        base[name] = base["feed-resistance"] * share
    base["control-wire"] = base["control-wire-resistance"]
    base["module-ground"] = base["module-ground-resistance"]
    base["driver-supply"] = base["driver-supply-resistance"]
    base["engine-ground"] = base["engine-ground-resistance"]
    base["starter-cable"] = base["starter-cable-resistance"]
    base["relay-switch"] = np.full(systems.count, RELAY_SWITCH_OHM)
    base["relay-control"] = np.full(systems.count, RELAY_CONTROL_OHM)
    base["coil-ground"] = np.full(systems.count, COIL_GROUND_OHM)
    none = np.full(systems.count, np.inf)
    for name in (
        "short-control-to-ground",
        "short-control-to-battery",
        "accessory",
        "short-feed-wire-to-ground",
        "short-driver",
        "shorted-turns",
        HELD_ON,
        *(name + UNDER_CURRENT for name in CONTACTS),
    ):
        base[name] = none
    base["ballast"] = np.zeros(systems.count)
    if circuit.kind == "load":
        base["primary-resistance"] = base["load-resistance"]
        base["primary-inductance"] = base["load-inductance"]
        base["clamp-voltage"] = base["load-clamp-voltage"]
        base["dwell"] = base["load-on-time"]
    base["winding-capacitance"] = (
        np.full(systems.count, LOAD_CAPACITANCE)
        if circuit.kind == "load"
        else base["secondary-capacitance"] * base["turns-ratio"] ** 2
    )
    values: dict[str, list[Floats]] = {name: [] for name in base}
    flags: dict[str, list[Booleans]] = {name: [] for name in FLAGS}
    for mechanism in wanted:
        changed = dict(base)
        for change in mechanism.changes:
            changed[change.name] = changed_value(changed[change.name], change, mechanism, systems)
        for name, value in changed.items():
            values[name].append(value)
        for name in FLAGS:
            flags[name].append(np.full(systems.count, name in mechanism.flags))
    return Rows(
        circuit,
        systems.count * len(wanted),
        {name: np.concatenate(parts) for name, parts in values.items()},
        {name: np.concatenate(parts) for name, parts in flags.items()},
    )


def changed_value(old: Floats, change: Change, mechanism: Mechanism, systems: Systems) -> Floats:
    """A value of each car after a change of this mechanism, shape ``(n,)``.

    A draw depends on the car and the mechanism alone, so that pieces of the work agree with each other.
    """
    if change.how == "set":
        return np.full(systems.count, change.value)
    if change.how == "times":
        return old * change.value
    of = change.key or f"{mechanism.fault}/{mechanism.name}"
    apart = zlib.crc32(of.encode())
    # Whole turns of the car's one draw: each is uniform, and two of them together fill the square.
    turns = 1 + 2 * (apart % 499)
    quantile = (turns * systems.values["severity"] + apart / 2**32) % 1.0
    drawn = change.value * (change.high / change.value) ** quantile
    return np.asarray(old * drawn**change.power if change.how == "draw-times" else drawn)


def nodes_of(circuit: Circuit) -> tuple[str, ...]:
    """Names of the nodes, without ground."""
    return BUILT_IN_NODES if circuit.kind == "built-in" else NODES


def resistors(rows: Rows, engine: Engine, unplugged: Sequence[str]) -> list[Resistor]:
    """The network's resistors in this state of key, engine and plugs."""
    found = [*_supply(rows, engine, unplugged), *_wires(rows)]
    values = rows.values
    if "accessory" not in unplugged:
        found.append(Resistor("accessory", "switched", GROUND, values["accessory"]))
    if engine is not Engine.KEY_OFF:
        found.append(Resistor("driver-supply", "battery-positive", "driver-supply", values["driver-supply"]))
    if "module" not in unplugged:
        output = TRIGGER_OHM if rows.circuit.kind == "built-in" else OFF_LEAK
        found += [
            Resistor("module-load", "driver-supply", "driver-ground", values["module-load"]),
            Resistor("short-driver", "driver-end", "driver-ground", values["short-driver"]),
            Resistor("driver-output", "driver-end", "driver-ground", np.full(rows.count, output)),
        ]
    if rows.circuit.kind == "built-in":
        found.append(Resistor("coil-ground", "coil-ground", GROUND, values["coil-ground"]))
        if "coil" not in unplugged:
            found += _inside_coil(rows)
    return found


def _supply(rows: Rows, engine: Engine, unplugged: Sequence[str]) -> list[Resistor]:
    """From the battery to the coil's feed, by way of the relay and the fuse, and the starter's circuit."""
    values = rows.values
    relay, switch, control = _relay(rows, engine)
    fuse = np.full(rows.count, np.inf) if "fuse" in unplugged else values["fuse"]
    return [
        Resistor("engine-ground", "engine-block", GROUND, values["engine-ground"]),
        Resistor("starter-cable", "battery-positive", "starter-terminal", values["starter-cable"]),
        # The relay's winding only shows faults of its supply or control; its contact is set separately.
        Resistor("relay-switch", "battery-positive", "relay-coil-supply", switch),
        Resistor("relay-winding", "relay-coil-supply", "relay-control", values["relay-winding"]),
        Resistor("relay-control", "relay-control", GROUND, control),
        Resistor("relay-link", "battery-positive", "relay-supply", values["relay-link"]),
        Resistor("relay", "relay-supply", "fuse-supply", relay),
        Resistor("other-ignition-loads", "fuse-supply", GROUND, values["other-ignition-loads"]),
        Resistor("fuse", "fuse-supply", "fuse-load", fuse),
        Resistor("short-feed-wire-to-ground", "fuse-load", GROUND, values["short-feed-wire-to-ground"]),
        Resistor("feed-wire", "fuse-load", "feed", feed_ohm(rows, engine)),
    ]


def _relay(rows: Rows, engine: Engine) -> tuple[Floats, Floats, Floats]:
    """Resistance in ohm of the relay's contact, of what feeds its winding, and of what pulls it."""
    if engine is Engine.KEY_OFF:
        none = np.full(rows.count, np.inf)
        return none, none, none
    names = ("relay", "relay-switch", "relay-control")
    contact, switch, control = (rows.values[name] for name in names)
    if engine in (Engine.CRANKING, Engine.RUNNING):
        contact, switch, control = (
            np.where(rows.flags[f"{name}-drops-out"], RESISTANCE_OPEN, value)
            for name, value in zip(names, (contact, switch, control), strict=True)
        )
    return contact, switch, control


def _wires(rows: Rows) -> list[Resistor]:
    """The control wire with its shorts, and the module's ground, which is at the post or at the engine block."""
    values = rows.values
    at_block = values["module-at-block"] > 0.5
    ground = values["module-ground"]
    # The shorts lie at the coil's end, so that a lamp at either end sees them.
    return [
        Resistor("control-wire", "switched", "driver-end", values["control-wire"]),
        Resistor("short-control-to-ground", "switched", GROUND, values["short-control-to-ground"]),
        Resistor(
            "short-control-to-battery", "switched", "battery-positive", values["short-control-to-battery"]
        ),
        Resistor("module-ground", "driver-ground", GROUND, np.where(at_block, np.inf, ground)),
        Resistor(
            "module-ground-at-block", "driver-ground", "engine-block", np.where(at_block, ground, np.inf)
        ),
    ]


def _inside_coil(rows: Rows) -> list[Resistor]:
    """The driver in the coil: its trigger, what leaks through it, and what holds it on."""
    return [
        Resistor("trigger-input", "switched", "coil-ground", np.full(rows.count, TRIGGER_INPUT_OHM)),
        Resistor("coil-driver-off", "coil-low", "coil-ground", np.full(rows.count, OFF_LEAK)),
        Resistor(HELD_ON, "coil-low", "coil-ground", rows.values[HELD_ON]),
    ]


def feed_ohm(rows: Rows, engine: Engine) -> Floats:
    """Resistance in ohm between fuse and coil, shape ``(rows,)``: the wire, and the ballast but in the crank position.

    The bypass of a ballast resistor is taken to carry the current from behind the same fuse.
    """
    wire = rows.values["feed-wire"]
    return wire if engine is Engine.CRANKING else np.asarray(wire + rows.values["ballast"])


@dataclass(frozen=True, eq=False)
class Ports:
    """The voltages of the ports; every entry has shape ``(rows,)``.

    ``v[port] = sum over sources of gain[port][source] * source``, where the sources are the battery's voltage
    ("battery"), the starter's current ("starter"), the trigger's voltage ("trigger"), and currents through the
    coil ("coil"), the driver ("driver") and the lamp ("lamp").
    Ports besides those three: those that the caller asked for.
    """

    gain: dict[str, dict[str, Floats]]


SOURCES = ("battery", "starter", "trigger", "coil", "driver", "lamp")


def reduce(
    rows: Rows,
    engine: Engine,
    unplugged: Sequence[str],
    ports: dict[str, tuple[str, str]],
    *,
    steady: bool = False,
) -> Ports:
    """Solve the network for its ports.

    Args:
        rows: Systems with their faults.
        engine: State of key and engine.
        unplugged: Parts that are unplugged.
        ports: Port -> its two nodes, positive first; must hold "lamp".
        steady: Whether the coil is a resistor (direct current) instead of a port.
    """
    names = nodes_of(rows.circuit)
    place = {name: number for number, name in enumerate(names)}
    size = len(names)
    matrix = np.zeros((rows.count, size, size))
    every = np.arange(size)
    matrix[:, every, every] += 1 / LEAK

    def connect(one: str, other: str, conductance: Floats) -> None:
        if one != GROUND:
            matrix[:, place[one], place[one]] += conductance
        if other != GROUND:
            matrix[:, place[other], place[other]] += conductance
        if GROUND not in {one, other}:
            matrix[:, place[one], place[other]] -= conductance
            matrix[:, place[other], place[one]] -= conductance

    elements = resistors(rows, engine, unplugged)
    coil = coil_nodes(rows.circuit)
    if steady and "coil" not in unplugged:
        elements.append(Resistor("primary", *coil, rows.values["primary-resistance"]))
    for element in elements:
        connect(element.one, element.other, 1 / element.value)
    battery = 1 / rows.values["battery-resistance"]
    connect("battery-positive", GROUND, battery)

    right = np.zeros((rows.count, size, len(SOURCES)))
    right[:, place["battery-positive"], 0] = battery
    right[:, place["starter-terminal"], 1] = -1
    right[:, place["engine-block"], 1] = 1
    if rows.circuit.kind == "built-in" and "module" not in unplugged:
        right[:, place["driver-end"], 2] = 1 / TRIGGER_OHM
        right[:, place["driver-ground"], 2] = -1 / TRIGGER_OHM
    taken = {"coil": coil, "driver": driver_nodes(rows.circuit), "lamp": ports["lamp"]}
    for column, source in enumerate(SOURCES[3:], 3):
        one, other = taken[source]
        if one != GROUND:
            right[:, place[one], column] -= 1
        if other != GROUND:
            right[:, place[other], column] += 1
    solved = np.linalg.solve(matrix, right)

    gain: dict[str, dict[str, Floats]] = {}
    for port, (one, other) in {**taken, **ports}.items():
        difference = np.zeros((rows.count, len(SOURCES)))
        if one != GROUND:
            difference += solved[:, place[one], :]
        if other != GROUND:
            difference -= solved[:, place[other], :]
        gain[port] = {source: np.ascontiguousarray(difference[:, n]) for n, source in enumerate(SOURCES)}
    return Ports(gain)


def coil_nodes(circuit: Circuit) -> tuple[str, str]:
    """The two nodes of the primary, or of the load."""
    return ("feed", "coil-low") if circuit.kind == "built-in" else ("feed", "switched")


def driver_nodes(circuit: Circuit) -> tuple[str, str]:
    """The two nodes of the transistor that switches the primary, or the load."""
    return ("coil-low", "coil-ground") if circuit.kind == "built-in" else ("driver-end", "driver-ground")
