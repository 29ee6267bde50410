"""The kinds of circuits that procedures are written for."""

from __future__ import annotations

from dataclasses import dataclass

from assistant.circuit.problems import CircuitProblem
from assistant.core.nearest import among


@dataclass(frozen=True)
class Circuit:
    """A kind of circuit.

    Attributes:
        name: Name in procedures.
        about: Description in words.
        kind: ``coil`` (external driver), ``built-in`` (driver in the coil, logic trigger) or ``load``.
        surges: Surges of the starter for one blink, on a four-cylinder engine.
        without: Faults that this circuit cannot have.
        only: If not empty, the only faults that it can have.
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

COIL_CURRENT = tuple(name for name in CIRCUITS if name != "built-in-driver-coil")
"""Circuits whose control wire and driver carry the coil's current; a logic wire blows no fuse."""
BUILT_IN = ("built-in-driver-coil",)
"""Circuits whose driver is in the coil."""
WITH_COIL = tuple(name for name in CIRCUITS if name not in ("built-in-driver-coil", "ground-switched-load"))
"""Circuits of a coil whose driver is in the module."""


def circuit_named(name: str) -> Circuit:
    """The circuit of this name.

    Raises:
        CircuitProblem: There is none; the message names the known ones.
    """
    if name not in CIRCUITS:
        raise CircuitProblem(f"There is no circuit '{name}'. {among(name, CIRCUITS)}.")
    return CIRCUITS[name]
