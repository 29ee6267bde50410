"""What a proof is asked for, and what it comes to."""

from __future__ import annotations

from dataclasses import dataclass

from assistant.proof.judging import Case, CaseFigures, CounterExample
from assistant.proof.walk import End, Key

PROCESSES = 2
"""At most so many are used: more would not be on the machine beside a technician's other work."""


@dataclass(frozen=True)
class Request:
    """What is to be proven.

    Attributes:
        procedures: Names of procedures; empty for all.
        systems: Random cars for each way in which a fault comes about.
        seed: Of the random cars.
        misreading: Rate of wrong answers of the misreading observer, from 0 to 1.
        processes: At most so many processes.
    """

    procedures: tuple[str, ...] = ()
    systems: int = 200
    seed: int = 1
    misreading: float = 0.02
    processes: int = PROCESSES


@dataclass(frozen=True)
class Failure:
    """A sentence that says why a procedure is not proven, and the car that shows it; None where there is none."""

    sentence: str
    counter: CounterExample | None = None


@dataclass(frozen=True)
class Proven:
    """All about one procedure.

    Attributes:
        name: Its name.
        circuit: The circuit that its faults are of.
        cases: The ways in which faults come about, those of one fault together; a car without a fault is last.
        rows: Observer to the figures of each case.
        ends: Observer to the share of each end, for each case.
        failures: Why it is not proven.
        presumed: Faults that it presumes excluded, which fail nothing.
        cars: Of the random cars those that count, for each case.
        ruled_out: Procedure, step, outcome, fault, share of cars that give an answer that rules out their fault.
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
    """The whole proof; `nothing_electrical` are procedures in which there is nothing to prove."""

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
