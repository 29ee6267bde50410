"""The request for a proof, and its result."""

from __future__ import annotations

from dataclasses import dataclass

from assistant.circuit.looks import Key
from assistant.proof.judging import Case, CaseFigures, CounterExample
from assistant.proof.walk import End

PROCESSES = 2
"""Largest number of processes to use, because the machine has other work of a technician to do."""


@dataclass(frozen=True)
class Request:
    """The request for a proof.

    Attributes:
        procedures: Names of procedures; empty for all.
        systems: Number of random cars for each way in which a fault comes about.
        seed: Seed of the random cars.
        misreading: Rate of wrong answers of the misreading observer, from 0 to 1.
        processes: Largest number of processes.
    """

    procedures: tuple[str, ...] = ()
    systems: int = 200
    seed: int = 1
    misreading: float = 0.02
    processes: int = PROCESSES


@dataclass(frozen=True)
class Failure:
    """A sentence with the reason why a procedure is not proven, and the car that shows it; None if there is no
    such car.
    """

    sentence: str
    counter: CounterExample | None = None


@dataclass(frozen=True)
class Proven:
    """The proof of one procedure.

    Attributes:
        name: Its name.
        circuit: The circuit of its faults.
        cases: The ways in which faults come about, grouped by fault; the car without a fault is last.
        rows: The figures of each case, by observer.
        ends: The share of each end for each case, by observer.
        failures: The reasons why it is not proven.
        presumed: Faults that it presumes excluded, which fail nothing.
        cars: Number of random cars that count for each case.
        ruled_out: Procedure, step, outcome, fault, and share of cars whose answer rules out their own fault.
    """

    name: str
    circuit: str
    cases: tuple[Case, ...]
    rows: dict[str, tuple[CaseFigures, ...]]
    ends: dict[str, tuple[dict[End, float], ...]]
    failures: tuple[Failure, ...]
    ruled_out: tuple[tuple[str, str, str, str, float], ...]
    presumed: tuple[str, ...] = ()
    cars: tuple[float, ...] = ()


@dataclass(frozen=True)
class Proof:
    """The whole proof; `nothing_electrical` are procedures with nothing to prove."""

    asked: Request
    version: str
    procedures: tuple[Proven, ...]
    unreached: tuple[Key, ...]
    idle: tuple[str, ...]
    nothing_electrical: tuple[str, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether no procedure failed."""
        return not any(proven.failures for proven in self.procedures)
