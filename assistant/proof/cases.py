"""The circuit whose faults test a procedure, with its cases and cars, and the observers who are led through it.

The observers (`assistant.circuit.observers`) are honest; or have no values of the vehicle maker, a clamp that
shows the mean, no clamp, or nobody to crank; or miss a pin now and then, probe the wrong end of the control wire
once, misread, or skip every optional test.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.circuit import catalogue, parameters
from assistant.circuit.observers import (
    BLANK,
    HONEST,
    MEAN_CLAMP,
    MISSES,
    NO_CLAMP,
    NOBODY_CRANKS,
    SKIPPING,
    Observer,
    misreads,
)
from assistant.core.library.vocabulary import NO_CIRCUIT
from assistant.errors import FileProblem
from assistant.proof.judging import Case
from assistant.proof.walk import followed

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.circuit.catalogue import Mechanism
    from assistant.circuit.parameters import Systems
    from assistant.core.library.library import Library
    from assistant.proof.result import Request


def observers(library: Library, entry: str, asked: Request) -> tuple[Observer, ...]:
    """All observers; the wrong end of the wire is probed once, at each place in turn."""
    wrong = [
        Observer("wrong end", wrong_end=(name, step.name))
        for name in followed(library, entry, proven=True)
        for step in library.procedures[name].steps.values()
        if "driver-end" in (step.measure.probe, step.measure.clip)
    ]
    usual = (HONEST, BLANK, MEAN_CLAMP, NO_CLAMP, MISSES, NOBODY_CRANKS, SKIPPING, misreads(asked.misreading))
    return (*usual, *wrong)


def systems_of(asked: Request) -> Systems:
    """The random cars of a proof."""
    return parameters.Systems.random(asked.systems, asked.seed)


def electrical(library: Library, names: Iterable[str]) -> tuple[str, ...]:
    """The procedures among these that are about a circuit."""
    return tuple(name for name in names if library.procedures[name].circuit != NO_CIRCUIT)


def circuit_of(library: Library, name: str) -> str:
    """The circuit whose faults test a procedure.

    It is the procedure's own circuit if the model has it, or else the first to which it leads: battery and
    starter are part of every circuit of a coil.

    Raises:
        FileProblem: The model has neither circuit.
    """
    for other in followed(library, name, proven=True):
        if library.procedures[other].circuit in catalogue.CIRCUITS:
            return library.procedures[other].circuit
    procedure = library.procedures[name]
    raise FileProblem(
        procedure.file,
        0,
        f"the circuit '{procedure.circuit}' is not in the circuit model",
        f"Known are: {', '.join(catalogue.CIRCUITS)}",
    )


def case_of(mechanism: Mechanism) -> Case:
    """The proof's case of a mechanism."""
    return Case(mechanism.fault, mechanism.name, mechanism.also, mechanism.parts)


def called(case: Case) -> str:
    """A case in words."""
    return case.fault if case.mechanism in ("", case.fault) else f"{case.fault} ({case.mechanism})"
