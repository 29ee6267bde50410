"""The ways in which each fault of ``procedures/terms.yaml`` comes about, and the circuits that have it.

Each file of this room holds the mechanisms of one part of the circuit; a new one is added to its `MECHANISMS`.
A mechanism counts only in the cars whose spark it makes weak or missing (`spoiling.bad_spark`).
The parts that are truly bad belong to the mechanism: an open plug lead is not an ignition coil.
"""

from __future__ import annotations

from dataclasses import replace

from assistant.circuit.catalogue import battery, control_wire, driver, feed, inputs, primary, secondary, sound
from assistant.circuit.catalogue.circuits import CIRCUITS, Circuit, circuit_named
from assistant.circuit.catalogue.mechanism import BLOWN, NONE, Change, Mechanism
from assistant.circuit.problems import CircuitProblem
from assistant.core.nearest import among

__all__ = ("ALL", "CIRCUITS", "INTERMITTENT", "NONE", "Change", "Circuit", "Mechanism", "circuit_named")

ALL: tuple[Mechanism, ...] = (
    *sound.MECHANISMS,
    *secondary.MECHANISMS,
    *feed.MECHANISMS,
    *primary.MECHANISMS,
    *control_wire.MECHANISMS,
    *driver.MECHANISMS,
    *inputs.MECHANISMS,
    *battery.MECHANISMS,
)
"""Every mechanism; a sound car is the first."""

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
"""Intermittent faults: present at each test with a probability, independently each time."""


def combined(one: Mechanism, other: Mechanism) -> Mechanism:
    """Both at once in one car; if both change the same value, the second one wins."""
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
"""Faults that take the spark from only one coil if a car has several; a blown fuse takes it from all."""


def at_one_coil(mechanism: Mechanism) -> bool:
    """Whether it takes the spark from one coil only, in a car that has several."""
    at_its_feed = any(change.name == "feed-wire" for change in mechanism.changes)
    return (mechanism.fault in ONE_COIL and BLOWN not in mechanism.changes) or at_its_feed


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
        faults = among(fault, dict.fromkeys(mechanism.fault for mechanism in found))
        raise CircuitProblem(f"The circuit '{circuit}' has no fault '{fault}'. {faults}.")
    return wanted


def mechanism_named(circuit: str, fault: str, name: str | None = None) -> Mechanism:
    """One mechanism; without a name the first of the fault.

    Raises:
        CircuitProblem: There is none; the message names the known ones.
    """
    found = mechanisms(circuit, fault)
    if name is None:
        return found[0]
    for mechanism in found:
        if mechanism.name == name:
            return mechanism
    names = among(name, [mechanism.name for mechanism in found])
    raise CircuitProblem(f"The fault '{fault}' has no mechanism '{name}'. {names}.")
