"""Circuits, and the ways in which each fault of ``procedures/terms.yaml`` comes about.

A mechanism is a named change of parameters or of elements of the network; nothing else tells the model of a fault.
How bad it is, is drawn for each car: leaks, opens and high resistances log-uniform over `LEAK`, `BROKEN` and `HIGH`.
So a mechanism counts only in the cars whose spark it makes weak or missing (`observing.bad_spark`).
The parts that are truly bad belong to the mechanism: an open plug lead is no ignition coil.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from assistant.circuit.parameters import RESISTANCE_OPEN as OPEN
from assistant.circuit.problems import CircuitProblem

NONE = "none"
"""The fault of a sound system."""

LEAK = (0.05, 200.0)
"""A leak in ohm, from metal that touches metal to damp dirt; chosen, not fitted."""
HIGH = (0.2, 50.0)
"""A contact of high resistance, in ohm; chosen, not fitted."""
BROKEN = (20.0, OPEN)
"""An open circuit in ohm, from a last strand to damp dirt across the gap; chosen, not fitted."""


@dataclass(frozen=True)
class Change:
    """A change of one parameter or element.

    Attributes:
        name: Name of the parameter or element.
        how: ``set`` to a value, ``times`` a factor, ``draw`` a value, or ``draw-times`` a factor: drawn log-uniform,
            anew for each car, the same for all changes of one mechanism.
        value: The value or factor; of a draw the least one.
        high: Of a draw the greatest one.
        power: A factor that is drawn counts to this power: turns change a winding's inductance by their square.
        key: What the draw belongs to, where it is not the mechanism that the change stands in.
    """

    name: str
    how: str
    value: float
    high: float = 0.0
    power: int = 1
    key: str = ""


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
        parts: What is truly bad with it, by the names that verdicts may give; empty where no part is.
        present: Probability that it is there at a test, 0 to 1; below 1 it comes and goes.
    """

    fault: str
    name: str
    about: str
    changes: tuple[Change, ...] = ()
    flags: frozenset[str] = frozenset()
    also: tuple[str, ...] = ()
    circuits: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    present: float = 1.0


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
            without=("coil-secondary", "lead-or-plug"),
        ),
        Circuit("battery-and-starter", "battery, cables and starter", "coil", 2, only=("weak-battery",)),
    )
}


def _set(name: str, value: float) -> Change:
    return Change(name, "set", value)


def _times(name: str, value: float) -> Change:
    return Change(name, "times", value)


def _draw(name: str, limits: tuple[float, float]) -> Change:
    return Change(name, "draw", *limits)


_COIL_CURRENT = tuple(name for name in CIRCUITS if name != "built-in-driver-coil")
"""Circuits whose control wire and driver carry the coil's current; a logic wire blows no fuse."""
_BUILT_IN = ("built-in-driver-coil",)
_COIL = tuple(name for name in CIRCUITS if name not in ("built-in-driver-coil", "ground-switched-load"))
_BLOWN = _set("fuse", OPEN)
_HARD = (0.05, 0.5)
"""A short that blows a fuse, in ohm; chosen, not fitted."""
# "shorted-turns" is the resistance that they put across the primary once the driver is off.
_SHORTED_PRIMARY = (
    _draw("primary-resistance", (0.03, 0.15)),
    _set("primary-inductance", 0.1e-3),
    _set("shorted-turns", 25.0),
)

COIL = "ignition coil"
LEAD = "plug lead"
PLUG = "spark plug"
WIRE = "control wire"
DRIVER = "driver module"
FEED_WIRE = "feed wire"
RELAY = "ignition relay"
"""Names of parts as verdicts give them."""


def _flags(*names: str) -> frozenset[str]:
    return frozenset(names)


ALL: tuple[Mechanism, ...] = (
    Mechanism(NONE, "sound", "nothing is wrong"),
    Mechanism(
        NONE,
        "three-ohm-coil",
        "nothing is wrong; an older coil of 2.9 to 3.6 ohm that needs no ballast resistor",
        (
            _draw("primary-resistance", (2.9, 3.6)),
            _set("primary-inductance", 12e-3),
            _set("dwell", 15e-3),
        ),
        circuits=("distributor", "coil-with-external-driver"),
    ),
    Mechanism(
        NONE,
        "ballast-resistor",
        "nothing is wrong; a ballast resistor in the feed, bypassed in the crank position",
        (_draw("ballast", (0.5, 2.0)),),
        circuits=("distributor", "coil-with-external-driver"),
    ),
    Mechanism(
        NONE,
        "coil-terminals-swapped",
        "no part is bad; the two wires in the coil's plug are in each other's place",
        flags=_flags("terminals-swapped"),
        circuits=_COIL,
    ),
    Mechanism(
        "coil-secondary",
        "winding-open",
        "the secondary winding is open inside the coil: no spark comes out",
        flags=_flags("secondary-open"),
        parts=(COIL,),
    ),
    Mechanism(
        "coil-secondary",
        "breaks-down-inside",
        "the secondary breaks down at low voltage inside the coil",
        (_set("breakdown-voltage", 4e3), _set("burning-voltage", 700.0)),
        parts=(COIL,),
    ),
    Mechanism(
        "lead-or-plug",
        "plug-lead-open",
        "no spark path behind the coil: the secondary rises until the driver clamps",
        flags=_flags("no-spark-path"),
        parts=(LEAD,),
    ),
    Mechanism(
        "lead-or-plug",
        "lead-breaks-down",
        "lead or boot breaks down to ground at low voltage",
        (_set("breakdown-voltage", 4.5e3), _set("burning-voltage", 700.0)),
        flags=_flags("lead-to-ground"),
        parts=(LEAD,),
    ),
    Mechanism(
        "lead-or-plug",
        "wide-gap",
        "worn plugs: breakdown beyond the coil's voltage",
        (_times("breakdown-voltage", 2.5), _times("burning-voltage", 1.3)),
        flags=_flags("wide-gap"),
        parts=(PLUG,),
    ),
    Mechanism("open-feed", "fuse-blown", "the ignition fuse is open", (_BLOWN,), parts=("ignition fuse",)),
    Mechanism(
        "open-feed",
        "feed-wire-open",
        "the wire between fuse and coil is open",
        (_draw("feed-wire", BROKEN),),
        parts=(FEED_WIRE,),
    ),
    Mechanism(
        "open-feed",
        "relay-does-not-close",
        "the ignition relay passes nothing",
        (_draw("relay", BROKEN),),
        parts=(RELAY,),
    ),
    Mechanism(
        "open-feed",
        "relay-coil-not-fed",
        "no supply at the winding of the ignition relay, so that it stays open",
        (_set("relay", OPEN), _draw("relay-switch", (2e3, OPEN))),
        parts=("supply of the relay's winding",),
    ),
    Mechanism(
        "open-feed",
        "relay-not-controlled",
        "nothing pulls the control of the ignition relay, so that it stays open",
        (_set("relay", OPEN), _draw("relay-control", (2e3, OPEN))),
        parts=("control of the ignition relay",),
    ),
    Mechanism(
        "open-feed",
        "relay-supply-open",
        "no supply at the ignition relay",
        (_draw("relay-link", BROKEN),),
        parts=("supply wire of the ignition relay",),
    ),
    Mechanism(
        "open-feed",
        "feed-wire-shorted",
        "the feed wire touches ground and has blown the fuse",
        (_BLOWN, _draw("short-feed-wire-to-ground", _HARD)),
        parts=(FEED_WIRE, "ignition fuse"),
    ),
    Mechanism(
        "open-feed",
        "drops-out-while-cranking",
        "the relay opens in the crank position, though it is supplied and controlled",
        flags=_flags("relay-drops-out"),
        parts=(RELAY,),
    ),
    Mechanism(
        "open-feed",
        "ignition-switch-drops-out",
        "the ignition switch opens in the crank position, and the relay with it",
        flags=_flags("relay-drops-out", "relay-switch-drops-out"),
        parts=("ignition switch",),
    ),
    Mechanism(
        "open-feed",
        "control-drops-out",
        "the control of the relay lets go in the crank position",
        flags=_flags("relay-drops-out", "relay-control-drops-out"),
        parts=("control of the ignition relay",),
    ),
    Mechanism(
        "high-resistance-feed",
        "wire",
        "high resistance between fuse and coil",
        (_draw("feed-wire", HIGH),),
        parts=(FEED_WIRE,),
    ),
    Mechanism(
        "high-resistance-feed",
        "relay-contact",
        "high resistance in the relay's contact",
        (_draw("relay", HIGH),),
        parts=(RELAY,),
    ),
    Mechanism(
        "high-resistance-feed",
        "before-the-relay",
        "high resistance between battery and relay",
        (_draw("relay-link", HIGH),),
        parts=("supply wire of the ignition relay",),
    ),
    Mechanism(
        "high-resistance-feed",
        "wire-under-current",
        "a contact between fuse and coil that is good under a meter and bad under the coil's current",
        (_draw("feed-wire-under-current", HIGH),),
        circuits=_COIL,
        parts=(FEED_WIRE,),
    ),
    Mechanism(
        "open-primary",
        "winding-open",
        "the primary winding is open",
        (_draw("primary-resistance", BROKEN),),
        parts=(COIL,),
    ),
    Mechanism(
        "shorted-primary",
        "full",
        "the winding is bridged: 0.1 mH, no secondary voltage",
        _SHORTED_PRIMARY,
        parts=(COIL,),
    ),
    Mechanism(
        "shorted-primary",
        "part",
        "turns are shorted: a share of the resistance, its square of the inductance, no secondary voltage",
        (
            Change("primary-resistance", "draw-times", 0.25, 0.8),
            Change("primary-inductance", "draw-times", 0.25, 0.8, 2),
            _set("shorted-turns", 40.0),
        ),
        parts=(COIL,),
    ),
    Mechanism(
        "control-wire-open",
        "wire",
        "the control wire is open",
        (_draw("control-wire", BROKEN),),
        parts=(WIRE,),
    ),
    Mechanism(
        "control-wire-to-ground",
        "wire",
        "the control wire leaks to ground",
        (_draw("short-control-to-ground", LEAK),),
        parts=(WIRE,),
    ),
    Mechanism(
        "control-wire-to-ground",
        "fuse-blown-by-it",
        "the control wire touches ground and the current has blown the fuse",
        (_draw("short-control-to-ground", _HARD), _BLOWN),
        circuits=_COIL_CURRENT,
        parts=(WIRE, "ignition fuse"),
    ),
    Mechanism(
        "accessory-to-ground",
        "rev-counter-lead",
        "a rev counter or another accessory on the control wire leaks to ground",
        (_draw("accessory", LEAK),),
        circuits=_COIL,
        parts=("accessory on the control wire",),
    ),
    Mechanism(
        "control-wire-to-battery",
        "wire",
        "the control wire leaks to a wire with battery voltage",
        (_draw("short-control-to-battery", LEAK),),
        parts=(WIRE,),
    ),
    Mechanism(
        "high-resistance-control-wire",
        "wire",
        "high resistance in the control wire",
        (_draw("control-wire", HIGH),),
        parts=(WIRE,),
    ),
    Mechanism(
        "high-resistance-control-wire",
        "under-current",
        "a contact in the control wire that is good under a meter and bad under the coil's current",
        (_draw("control-wire-under-current", HIGH),),
        circuits=_COIL,
        parts=(WIRE,),
    ),
    Mechanism(
        "driver-dead",
        "never-switches",
        "the driver never switches on",
        flags=_flags("driver-off"),
        parts=(DRIVER,),
    ),
    Mechanism(
        "driver-dead",
        "killed-by-shorted-primary",
        "a shorted primary has killed the driver, which stays open",
        _SHORTED_PRIMARY,
        flags=_flags("driver-off"),
        also=("shorted-primary",),
        circuits=_COIL,
        parts=(DRIVER, COIL),
    ),
    Mechanism(
        "driver-shorted",
        "transistor",
        "the driver leaks or conducts all the time",
        (_draw("short-driver", LEAK),),
        parts=(DRIVER,),
    ),
    Mechanism(
        "driver-shorted",
        "fuse-blown-by-it",
        "the driver conducts all the time and the current has blown the fuse",
        (_draw("short-driver", _HARD), _BLOWN),
        circuits=_COIL_CURRENT,
        parts=(DRIVER, "ignition fuse"),
    ),
    Mechanism(
        "driver-shorted",
        "by-shorted-primary",
        "a shorted primary has killed the driver, and the fuse is blown",
        (_draw("short-driver", _HARD), _BLOWN, *_SHORTED_PRIMARY),
        also=("shorted-primary",),
        circuits=_COIL_CURRENT,
        parts=(DRIVER, COIL, "ignition fuse"),
    ),
    Mechanism(
        "weak-module-ground",
        "terminal",
        "high resistance in the module's ground",
        (_draw("module-ground", HIGH),),
        circuits=_COIL_CURRENT,
        parts=("ground circuit of the driver",),
    ),
    Mechanism(
        "weak-module-ground",
        "under-current",
        "a contact in the module's ground that is good under a meter and bad under the coil's current",
        (_draw("module-ground-under-current", HIGH),),
        circuits=_COIL,
        parts=("ground circuit of the driver",),
    ),
    Mechanism(
        "weak-module-ground",
        "engine-block",
        "the module is grounded at the engine block, whose cable has 5 to 60 milliohm: the starter lifts it",
        (_set("module-at-block", 1.0), _draw("engine-ground", (5e-3, 60e-3))),
        circuits=_COIL,
        parts=("engine ground connection",),
    ),
    Mechanism(
        "weak-module-ground",
        "coil-ground",
        "high resistance in the ground of the coil, which is the ground of the driver inside it",
        (_draw("coil-ground", HIGH),),
        circuits=_BUILT_IN,
        parts=("ground circuit of the coil",),
    ),
    Mechanism(
        "coil-driver-dead",
        "never-switches",
        "the driver inside the coil does not follow its trigger",
        flags=_flags("coil-driver-off"),
        circuits=_BUILT_IN,
        parts=(COIL,),
    ),
    Mechanism(
        "no-driver-supply",
        "open",
        "the module's supply is open",
        (_set("driver-supply", OPEN),),
        parts=("supply circuit of the driver",),
    ),
    Mechanism(
        "no-driver-supply",
        "high-resistance",
        "high resistance in the module's supply",
        (_draw("driver-supply", (5.0, 500.0)),),
        parts=("supply circuit of the driver",),
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
        "command-missing",
        "the control computer sends the igniter no command",
        flags=_flags("driver-off", "command-missing"),
        circuits=_COIL,
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
        parts=("battery",),
    ),
    Mechanism(
        "weak-battery",
        "worn-out",
        "charged, but worn out: 26 milliohm",
        (_set("battery-voltage", 12.3), _set("battery-resistance", 26e-3)),
        parts=("battery",),
    ),
    Mechanism(
        "weak-battery",
        "starter-drags",
        "the starter draws two and a half times its current, from a battery of 12 milliohm",
        (_times("starter-current", 2.5), _set("battery-resistance", 12e-3)),
        parts=("starter",),
    ),
    Mechanism(
        "weak-battery",
        "starter-cable-poor",
        "8 milliohm between the battery's post and the starter",
        (_set("starter-cable", 8e-3),),
        parts=("starter cable",),
    ),
    Mechanism(
        "weak-battery",
        "engine-ground-poor",
        "3 milliohm between the engine block and the battery",
        (_set("engine-ground", 3e-3),),
        parts=("engine ground connection",),
    ),
)

INTERMITTENT: tuple[Mechanism, ...] = tuple(
    replace(mechanism, name=f"{mechanism.name}, there at {present:.0%} of the tests", present=present)
    for present in (0.9, 0.5)
    for mechanism in ALL
    if (mechanism.fault, mechanism.name)
    in (
        ("coil-secondary", "breaks-down-inside"),
        ("open-feed", "feed-wire-open"),
        ("control-wire-open", "wire"),
        ("control-wire-to-ground", "wire"),
        ("driver-dead", "never-switches"),
        ("no-inputs", "crank-signal-missing"),
    )
)
"""Faults that come and go: there at each test with a probability, by itself each time."""


def combined(one: Mechanism, other: Mechanism) -> Mechanism:
    """Both at once in one car; what both change is as the second one makes it."""
    changes = tuple(
        replace(change, key=change.key or f"{mechanism.fault}/{mechanism.name}")
        for mechanism in (one, other)
        for change in mechanism.changes
    )
    return Mechanism(
        one.fault,
        f"{one.name} + {other.fault}/{other.name}",
        f"{one.about}; and {other.about}",
        changes,
        one.flags | other.flags,
        tuple(dict.fromkeys((*one.also, other.fault, *other.also))),
        parts=tuple(dict.fromkeys((*one.parts, *other.parts))),
    )


ONE_COIL = (
    "coil-secondary",
    "lead-or-plug",
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
        for mechanism in ALL
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
