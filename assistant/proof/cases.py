"""The circuit whose faults a procedure is proven against, its cases, its cars, and the observers led through it.

The observers (`assistant.circuit.observers`) are an honest one, one who has no value of the vehicle maker, whose clamp
shows the mean, who has no clamp, who misses a pin now and then, who probes the wrong end of the control wire once, for
whom nobody cranks, who misreads, who skips every optional test.
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
from assistant.core.library.procedure import NO_CIRCUIT
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
    """Everybody who is led through a procedure; the wrong end of the wire is probed once at each place in turn."""
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
    """Those of these procedures that are about a circuit."""
    return tuple(name for name in names if library.procedures[name].circuit != NO_CIRCUIT)


def circuit_of(library: Library, name: str) -> str:
    """The circuit whose faults a procedure is proven against.

    It is its own where the model has it, else the first that it leads to: battery and starter are part of every
    circuit of a coil.

    Raises:
        FileProblem: Neither is one of the model's circuits.
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
    """What a mechanism is to the proof."""
    return Case(mechanism.fault, mechanism.name, mechanism.also, mechanism.parts)


def called(case: Case) -> str:
    """A case in words."""
    return case.fault if case.mechanism in ("", case.fault) else f"{case.fault} ({case.mechanism})"
