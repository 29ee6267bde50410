"""Mechanisms, and the pieces that they are made of.

A mechanism is a named change of parameters or of elements of the network; the model knows nothing else of a fault.
Its severity is drawn for each car: leaks, opens and high resistances log-uniform over `LEAK`, `BROKEN` and `HIGH`.
"""

from __future__ import annotations

from dataclasses import dataclass

from assistant.circuit.parameters import RESISTANCE_OPEN as OPEN

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
        value: The value or factor; the least one of a draw.
        high: The greatest value or factor of a draw.
        power: Power of a drawn factor: turns change a winding's inductance by their square.
        key: Owner of the draw, if it is not the mechanism of the change.
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
        about: The fault in words.
        changes: Changes of parameters and elements.
        flags: Changes that are not electrical values: a missing signal, a relay that drops out.
        also: Faults that are present as well, because they caused this one.
        circuits: If not empty, its only circuits.
        parts: The parts that are truly bad, named as in verdicts; empty if no part is bad.
        present: Probability that it is present at a test, 0 to 1; below 1 it is intermittent.
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


def set_to(name: str, value: float) -> Change:
    """A change to a value."""
    return Change(name, "set", value)


def times(name: str, value: float) -> Change:
    """A change by a factor."""
    return Change(name, "times", value)


def draw(name: str, limits: tuple[float, float]) -> Change:
    """A change to a value that is drawn between two limits."""
    return Change(name, "draw", *limits)


BLOWN = set_to("fuse", OPEN)
"""A blown fuse."""
HARD = (0.05, 0.5)
"""A short that blows a fuse, in ohm; chosen, not fitted."""
SHORTED_PRIMARY = (
    draw("primary-resistance", (0.03, 0.15)),
    set_to("primary-inductance", 0.1e-3),
    set_to("shorted-turns", 25.0),
)
"""A bridged winding; "shorted-turns" is the resistance that it puts across the primary once the driver is off."""

COIL = "ignition coil"
LEAD = "plug lead"
PLUG = "spark plug"
WIRE = "control wire"
DRIVER = "driver module"
FEED_WIRE = "feed wire"
RELAY = "ignition relay"
"""Names of parts as verdicts give them."""


def flags(*names: str) -> frozenset[str]:
    """Flags of `network.FLAGS`."""
    return frozenset(names)
