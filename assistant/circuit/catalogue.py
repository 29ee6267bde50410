"""Circuits, and the ways in which each fault of ``procedures/terms.yaml`` comes about.

A mechanism is a named change of parameters or of elements of the network; nothing else tells the model of a fault.
Resistances of faults are chosen, not fitted: open 10 megohm, short 0.05 ohm, and the high resistances of
`HIGH_FEED` and its like, which are bad enough to stop a spark and good enough to light a lamp.
"""

from __future__ import annotations

from dataclasses import dataclass

from assistant.circuit.parameters import RESISTANCE_OPEN as OPEN, RESISTANCE_SHORT as SHORT
from assistant.circuit.problems import CircuitProblem

NONE = "none"
"""The fault of a sound system."""

HIGH_FEED = 2.0
WEAK_GROUND = 2.0
HIGH_CONTROL = 3.0


@dataclass(frozen=True)
class Change:
    """A change of one parameter or element: ``set`` to a value, or ``times`` a factor."""

    name: str
    how: str
    value: float


@dataclass(frozen=True)
class Mechanism:
    """One way in which a fault comes about.

    Attributes:
        fault: Name in terms.yaml, or "none".
        name: Name of this way, unique within its fault.
        about: What is wrong, in words.
        changes: Changes of parameters and elements.
        flags: What is not an electrical value: a missing signal, a relay that drops out.
        also: Faults that are present as well, because they caused this one.
        circuits: Where not empty, the only circuits that it is in.
    """

    fault: str
    name: str
    about: str
    changes: tuple[Change, ...] = ()
    flags: frozenset[str] = frozenset()
    also: tuple[str, ...] = ()
    circuits: tuple[str, ...] = ()


@dataclass(frozen=True)
class Circuit:
    """A kind of circuit.

    Attributes:
        name: Name in procedures.
        about: In words.
        kind: ``coil`` (external driver), ``built-in`` (driver in the coil, logic trigger) or ``load``.
        surges: Surges of the starter for one blink, on a four-cylinder engine.
        without: Faults that this circuit cannot have.
        only: Where not empty, the only faults that it can have.
    """

    name: str
    about: str
    kind: str
    surges: int
    without: tuple[str, ...] = ()
    only: tuple[str, ...] = ()


CIRCUITS: dict[str, Circuit] = {
    circuit.name: circuit
    for circuit in (
        Circuit(
            "coil-with-external-driver",
            "waste-spark coil, driver in the module: one blink in two surges",
            "coil",
            2,
        ),
        Circuit(
            "coil-per-plug", "a coil for each plug, driver in the module: one blink in four surges", "coil", 4
        ),
        Circuit(
            "distributor", "one coil for all plugs, driver in the module: a blink with every surge", "coil", 1
        ),
        Circuit(
            "built-in-driver-coil",
            "coil for each plug with its driver built in; the control wire carries a 5 V logic signal",
            "built-in",
            4,
            without=("high-resistance-control-wire",),
        ),
        Circuit(
            "ground-switched-load",
            "injector, solenoid or relay that a driver switches to ground",
            "load",
            4,
            without=("coil-secondary",),
        ),
        Circuit("battery-and-starter", "battery, cables and starter", "coil", 2, only=("weak-battery",)),
    )
}


def _set(name: str, value: float) -> Change:
    return Change(name, "set", value)


def _times(name: str, value: float) -> Change:
    return Change(name, "times", value)


_COIL_CURRENT = tuple(name for name in CIRCUITS if name != "built-in-driver-coil")
"""Circuits whose control wire and driver carry the coil's current; a logic wire blows no fuse."""
_BLOWN = _set("fuse", OPEN)
# "shorted-turns" is the resistance that they put across the primary once the driver is off.
_SHORTED_PRIMARY = (
    _set("primary-resistance", 0.06),
    _set("primary-inductance", 0.1e-3),
    _set("shorted-turns", 25.0),
)


def _flags(*names: str) -> frozenset[str]:
    return frozenset(names)


_ALL: tuple[Mechanism, ...] = (
    Mechanism(NONE, "sound", "nothing is wrong"),
    Mechanism(
        "coil-secondary",
        "plug-lead-open",
        "no spark path at all: the secondary rises until the driver clamps",
        flags=_flags("no-spark-path"),
    ),
    Mechanism(
        "coil-secondary",
        "spark-to-ground-inside",
        "the secondary breaks down at low voltage, inside coil, lead or plug",
        (_set("breakdown-voltage", 4e3), _set("burning-voltage", 700.0)),
    ),
    Mechanism(
        "coil-secondary",
        "wide-gap",
        "worn plugs: breakdown near the coil's limit",
        (_times("breakdown-voltage", 1.8), _times("burning-voltage", 1.3)),
    ),
    Mechanism("open-feed", "fuse-blown", "the ignition fuse is open", (_BLOWN,)),
    Mechanism(
        "open-feed", "feed-wire-open", "the wire between fuse and coil is open", (_set("feed-wire", OPEN),)
    ),
    Mechanism(
        "open-feed", "relay-does-not-close", "the ignition relay passes nothing", (_set("relay", OPEN),)
    ),
    Mechanism(
        "open-feed",
        "relay-coil-not-fed",
        "no supply at the winding of the ignition relay, so that it stays open",
        (_set("relay", OPEN), _set("relay-switch", OPEN)),
    ),
    Mechanism(
        "open-feed",
        "relay-not-controlled",
        "nothing pulls the control of the ignition relay, so that it stays open",
        (_set("relay", OPEN), _set("relay-control", OPEN)),
    ),
    Mechanism(
        "open-feed", "relay-supply-open", "no supply at the ignition relay", (_set("relay-link", OPEN),)
    ),
    Mechanism(
        "open-feed",
        "feed-wire-shorted",
        "the feed wire touches ground and has blown the fuse",
        (_BLOWN, _set("short-feed-wire-to-ground", SHORT)),
    ),
    Mechanism(
        "open-feed",
        "drops-out-while-cranking",
        "the relay opens in the crank position, though it is supplied and controlled",
        flags=_flags("relay-drops-out"),
    ),
    Mechanism(
        "open-feed",
        "ignition-switch-drops-out",
        "the ignition switch opens in the crank position, and the relay with it",
        flags=_flags("relay-drops-out", "relay-switch-drops-out"),
    ),
    Mechanism(
        "open-feed",
        "control-drops-out",
        "the control of the relay lets go in the crank position",
        flags=_flags("relay-drops-out", "relay-control-drops-out"),
    ),
    Mechanism("high-resistance-feed", "wire", "2 ohm between fuse and coil", (_set("feed-wire", HIGH_FEED),)),
    Mechanism(
        "high-resistance-feed", "relay-contact", "2 ohm in the relay's contact", (_set("relay", HIGH_FEED),)
    ),
    Mechanism("high-resistance-feed", "corroded", "8 ohm in a corroded connector", (_set("feed-wire", 8.0),)),
    Mechanism(
        "open-primary", "winding-open", "the primary winding is open", (_set("primary-resistance", OPEN),)
    ),
    Mechanism("shorted-primary", "full", "0.06 ohm, 0.1 mH, no secondary voltage", _SHORTED_PRIMARY),
    Mechanism(
        "shorted-primary",
        "part",
        "turns are shorted: half the resistance, a sixth of the inductance, no secondary voltage",
        (_times("primary-resistance", 0.5), _times("primary-inductance", 1 / 6), _set("shorted-turns", 40.0)),
    ),
    Mechanism("control-wire-open", "wire", "the control wire is open", (_set("control-wire", OPEN),)),
    Mechanism(
        "control-wire-to-ground",
        "wire",
        "the control wire touches ground",
        (_set("short-control-to-ground", SHORT),),
    ),
    Mechanism(
        "control-wire-to-ground",
        "fuse-blown-by-it",
        "the control wire touches ground and the current has blown the fuse",
        (_set("short-control-to-ground", SHORT), _BLOWN),
        circuits=_COIL_CURRENT,
    ),
    Mechanism(
        "control-wire-to-battery",
        "wire",
        "the control wire touches a wire with battery voltage",
        (_set("short-control-to-battery", SHORT),),
    ),
    Mechanism(
        "high-resistance-control-wire",
        "wire",
        "3 ohm in the control wire",
        (_set("control-wire", HIGH_CONTROL),),
    ),
    Mechanism("driver-dead", "never-switches", "the driver never switches on", flags=_flags("driver-off")),
    Mechanism(
        "driver-shorted", "transistor", "the driver conducts all the time", (_set("short-driver", SHORT),)
    ),
    Mechanism(
        "driver-shorted",
        "fuse-blown-by-it",
        "the driver conducts all the time and the current has blown the fuse",
        (_set("short-driver", SHORT), _BLOWN),
        circuits=_COIL_CURRENT,
    ),
    Mechanism(
        "driver-shorted",
        "by-shorted-primary",
        "a shorted primary has killed the driver, and the fuse is blown",
        (_set("short-driver", SHORT), _BLOWN, *_SHORTED_PRIMARY),
        also=("shorted-primary",),
        circuits=_COIL_CURRENT,
    ),
    Mechanism(
        "weak-module-ground",
        "terminal",
        "2 ohm in the module's ground",
        (_set("module-ground", WEAK_GROUND),),
        circuits=_COIL_CURRENT,
    ),
    Mechanism(
        "weak-module-ground",
        "coil-ground",
        "2 ohm in the ground of the coil, which is the ground of the driver inside it",
        (_set("coil-ground", WEAK_GROUND),),
        circuits=("built-in-driver-coil",),
    ),
    Mechanism(
        "coil-driver-dead",
        "never-switches",
        "the driver inside the coil does not follow its trigger",
        flags=_flags("coil-driver-off"),
        circuits=("built-in-driver-coil",),
    ),
    Mechanism("no-driver-supply", "open", "the module's supply is open", (_set("driver-supply", OPEN),)),
    Mechanism(
        "no-driver-supply",
        "high-resistance",
        "150 ohm in the module's supply",
        (_set("driver-supply", 150.0),),
    ),
    Mechanism(
        "no-inputs",
        "crank-signal-missing",
        "no crank signal: the driver does not switch",
        flags=_flags("driver-off", "crank-signal-missing"),
    ),
    Mechanism(
        "no-inputs",
        "crank-signal-missing-relay-drops-out",
        "no crank signal: the control computer lets the feed relay drop out",
        flags=_flags("driver-off", "crank-signal-missing", "relay-drops-out", "relay-control-drops-out"),
    ),
    Mechanism(
        "no-inputs",
        "sensor-not-supplied",
        "the crank sensor has no supply: no crank signal, the driver does not switch",
        flags=_flags("driver-off", "crank-signal-missing", "sensor-supply-missing"),
    ),
    Mechanism(
        "no-inputs",
        "cam-signal-missing",
        "no cam signal: the driver does not switch",
        flags=_flags("driver-off", "cam-signal-missing"),
    ),
    Mechanism(
        "no-inputs",
        "immobilizer",
        "the immobilizer holds the driver; the security lamp shows it",
        flags=_flags("driver-off", "security-lamp"),
    ),
    Mechanism(
        "weak-battery",
        "discharged",
        "a discharged battery: 11.3 V under load, twice the resistance",
        (_set("battery-voltage", 11.3), _times("battery-resistance", 2.0)),
    ),
    Mechanism(
        "weak-battery",
        "worn-out",
        "charged, but worn out: 26 milliohm",
        (_set("battery-voltage", 12.3), _set("battery-resistance", 26e-3)),
    ),
    Mechanism(
        "weak-battery",
        "starter-drags",
        "the starter draws two and a half times its current, from a battery of 12 milliohm",
        (_times("starter-current", 2.5), _set("battery-resistance", 12e-3)),
    ),
    Mechanism(
        "weak-battery",
        "starter-cable-poor",
        "8 milliohm between the battery's post and the starter",
        (_set("starter-cable", 8e-3),),
    ),
    Mechanism(
        "weak-battery",
        "engine-ground-poor",
        "3 milliohm between the engine block and the battery",
        (_set("engine-ground", 3e-3),),
    ),
)


ONE_COIL = (
    "coil-secondary",
    "open-primary",
    "shorted-primary",
    "control-wire-open",
    "control-wire-to-ground",
    "control-wire-to-battery",
    "high-resistance-control-wire",
    "driver-dead",
    "driver-shorted",
    "coil-driver-dead",
)
"""Faults that take the spark from one coil only, where a car has several; a blown fuse takes it from all."""


def at_one_coil(mechanism: Mechanism) -> bool:
    """Whether it takes the spark from one coil only, in a car that has several."""
    at_its_feed = any(change.name == "feed-wire" for change in mechanism.changes)
    return (mechanism.fault in ONE_COIL and _BLOWN not in mechanism.changes) or at_its_feed


def circuit_named(name: str) -> Circuit:
    """The circuit of this name.

    Raises:
        CircuitProblem: There is none; names those that there are.
    """
    if name not in CIRCUITS:
        raise CircuitProblem(f"There is no circuit '{name}'. Known are: {', '.join(CIRCUITS)}.")
    return CIRCUITS[name]


def mechanisms(circuit: str, fault: str | None = None) -> tuple[Mechanism, ...]:
    """All mechanisms of a circuit, or those of one fault; "none" is the sound system.

    Raises:
        CircuitProblem: The circuit is unknown, or the fault is not one of this circuit.
    """
    known = circuit_named(circuit)
    found = tuple(
        mechanism
        for mechanism in _ALL
        if mechanism.fault not in known.without
        and (not known.only or mechanism.fault in (*known.only, NONE))
        and (not mechanism.circuits or circuit in mechanism.circuits)
    )
    if fault is None:
        return found
    wanted = tuple(mechanism for mechanism in found if mechanism.fault == fault)
    if not wanted:
        faults = ", ".join(dict.fromkeys(mechanism.fault for mechanism in found))
        raise CircuitProblem(f"The circuit '{circuit}' has no fault '{fault}'. Known are: {faults}.")
    return wanted


def mechanism_named(circuit: str, fault: str, name: str | None = None) -> Mechanism:
    """One mechanism; without a name the first of the fault.

    Raises:
        CircuitProblem: There is none; names those that there are.
    """
    found = mechanisms(circuit, fault)
    if name is None:
        return found[0]
    for mechanism in found:
        if mechanism.name == name:
            return mechanism
    names = ", ".join(mechanism.name for mechanism in found)
    raise CircuitProblem(f"The fault '{fault}' has no mechanism '{name}'. Known are: {names}.")
