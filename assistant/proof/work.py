"""The work of a proof: leads every observer through each procedure with the same cars, in pieces and processes.

`assistant.proof.walk` explains the proof and its words, `assistant.proof.judging` judges its ends, and
`assistant.proof.failures` says what fails it.

The severity of a fault is drawn for each car, and a fault counts only in cars whose spark it makes weak or missing.
A procedure about nothing electrical is not proven, and the report says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit import catalogue, parameters
from assistant.circuit.looks import Looks
from assistant.circuit.observers import HONEST, Observer
from assistant.circuit.observing import VERSION
from assistant.circuit.pieces import carried_out
from assistant.errors import UsageProblem
from assistant.proof.cases import case_of, circuit_of, electrical, observers, systems_of
from assistant.proof.coverage import idle, unreached
from assistant.proof.failures import beyond_limits, wrongly_ruled_out
from assistant.proof.judging import NO_FAULT, CaseFigures, row
from assistant.proof.result import Failure, Proof, Proven, Request
from assistant.proof.walk import End, Walk, followed, walk

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from assistant.core.library.library import Library

_SYSTEMS_AT_ONCE = 100
"""Number of cars for each mechanism in one piece of the work; the model simulates all mechanisms of a circuit
together.
"""

_WORTH_PROCESSES = 20
"""Number of cars from which further processes are started."""

_MOST_SYSTEMS = 100_000


@dataclass(frozen=True)
class _Unit:
    """A piece of the work: all mechanisms of a circuit, with some of the systems."""

    circuit: str
    entries: tuple[str, ...]
    systems: tuple[int, int]


def _walks(library: Library, asked: Request, unit: _Unit) -> dict[tuple[str, Observer], Walk]:
    """All walks of one piece of the work, by procedure and observer."""
    first, last = unit.systems
    chosen = catalogue.mechanisms(unit.circuit)
    looks = Looks(library, unit.circuit, chosen, systems_of(asked).part(range(first, last)))
    present = looks.present()
    return {
        (entry, observer): walk(
            library,
            entry,
            looks.shares(observer),
            present.shape,
            first_system=first,
            skips=observer.leaves_out,
            present=present,
        )
        for entry in unit.entries
        for observer in observers(library, entry, asked)
    }


def prove(
    library: Library,
    asked: Request,
    progress: Callable[[float, float, float], None] = lambda _done, _all, _ahead: None,
) -> Proof:
    """Prove procedures.

    The same library, seed and number of systems give the same figures, with any number of processes.

    Args:
        library: The procedures.
        asked: The request.
        progress: Called with (done, total, being worked on) in s, as `seconds` gives them.

    Raises:
        UsageProblem: A procedure is unknown, or a number is out of its range.
        FileProblem: A step cannot be simulated, or the model lacks a procedure's circuit.
    """
    _check(library, asked)
    wanted = asked.procedures or tuple(library.procedures)
    names = electrical(library, wanted)
    circuits = _circuits(library, names)
    for circuit, entries in circuits.items():
        _check_steps(library, circuit, entries)
    units = [unit for circuit, entries in circuits.items() for unit in _units(circuit, entries, asked)]
    whole: dict[tuple[str, Observer], Walk] = {}
    # This few cars are done before another process has started.
    processes = asked.processes if asked.systems >= _WORTH_PROCESSES else 1
    weights = [_weight(library, unit) for unit in units]
    done = _START_S * processes
    total = done + sum(weights)
    progress(0, total, done + sum(weights[:processes]))
    carried = carried_out(_walks, (library, asked), units, processes)
    for number, walks in enumerate(carried):
        for key, walked in walks.items():
            if key in whole:
                whole[key].add(walked)
            else:
                whole[key] = walked
        done += weights[number]
        progress(done, total, sum(weights[number + 1 : number + 1 + processes]))
    proven = tuple(_proven(library, name, circuit_of(library, name), whole, asked) for name in names)
    return Proof(
        asked,
        VERSION,
        proven,
        tuple(unreached(library, names, whole)),
        tuple(idle(library, names, proven)),
        nothing_electrical=tuple(name for name in wanted if name not in names),
    )


def seconds(library: Library, asked: Request) -> float:
    """About how long `prove` takes, s, on processor cores of 2026; its time grows with cars, ways and steps.

    Raises:
        UsageProblem, FileProblem: As for `prove`.
    """
    _check(library, asked)
    names = electrical(library, asked.procedures or tuple(library.procedures))
    circuits = _circuits(library, names)
    work = sum(
        _weight(library, unit)
        for circuit, entries in circuits.items()
        for unit in _units(circuit, entries, asked)
    )
    return _START_S + work / (asked.processes if asked.systems >= _WORTH_PROCESSES else 1)


_START_S = 2.0
"""Time before the first walk, in which the steps are tried and processes begin, s."""

_SECONDS_OF_A_LOOK = 13.5e-6
"""Processor time of one step on one car with one way of a fault, s: 8.8 s for 54 ways, 122 steps and 100 cars."""


def _weight(library: Library, unit: _Unit) -> float:
    """About how long a piece takes, s."""
    followed_on = {name for entry in unit.entries for name in followed(library, entry, proven=True)}
    steps = sum(len(library.procedures[name].steps) for name in followed_on)
    cars = unit.systems[1] - unit.systems[0]
    return _SECONDS_OF_A_LOOK * len(catalogue.mechanisms(unit.circuit)) * steps * cars


def _circuits(library: Library, names: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """The procedures of each circuit."""
    circuits: dict[str, tuple[str, ...]] = {}
    for name in names:
        circuit = circuit_of(library, name)
        circuits[circuit] = (*circuits.get(circuit, ()), name)
    return circuits


def _check(library: Library, asked: Request) -> None:
    for name in asked.procedures:
        library.procedure(name)
    if not 1 <= asked.systems <= _MOST_SYSTEMS:
        raise UsageProblem(
            f"{asked.systems} systems cannot be proven; name a number from 1 to {_MOST_SYSTEMS}."
        )
    if not 0 <= asked.misreading < 0.5:
        raise UsageProblem(
            f"A rate of misreading of {asked.misreading} is no use; name a share from 0 to below 0.5."
        )
    if asked.seed < 0:
        raise UsageProblem(f"The seed {asked.seed} is below 0; name 0 or a whole number above it.")


def _check_steps(library: Library, circuit: str, entries: tuple[str, ...]) -> None:
    """Try each step once on a typical car, so that a step that cannot be simulated is reported with file and line."""
    sound = catalogue.mechanisms(circuit, NO_FAULT)[:1]
    looks = Looks(library, circuit, sound, parameters.Systems.typical())
    for name in dict.fromkeys(other for entry in entries for other in followed(library, entry, proven=True)):
        for step in library.procedures[name].steps:
            looks.shares()((name, step))


def _units(circuit: str, entries: tuple[str, ...], asked: Request) -> Iterator[_Unit]:
    """The pieces of the work, the same for any number of processes."""
    for first in range(0, asked.systems, _SYSTEMS_AT_ONCE):
        yield _Unit(circuit, entries, (first, min(first + _SYSTEMS_AT_ONCE, asked.systems)))


def _proven(
    library: Library,
    name: str,
    circuit: str,
    whole: dict[tuple[str, Observer], Walk],
    asked: Request,
) -> Proven:
    mechanisms = catalogue.mechanisms(circuit)
    order = sorted(range(len(mechanisms)), key=lambda number: _rank(library, mechanisms[number].fault))
    cases = tuple(case_of(mechanisms[number]) for number in order)
    # Each car that counts ends somewhere, so the shares of all ends add up to their number.
    counted = np.sum([flow.share for flow in whole[name, HONEST].ends.values()], axis=0)
    cars = tuple(round(float(counted[number]), 6) for number in order)
    rows: dict[str, tuple[CaseFigures, ...]] = {}
    ends: dict[str, tuple[dict[End, float], ...]] = {}
    failures: list[Failure] = []
    for observer in observers(library, name, asked):
        walked = whole[name, observer]
        found = tuple(
            row(library, walked, number, case, count)
            for number, case, count in zip(order, cases, cars, strict=True)
        )
        told = {failure.counter for failure in failures}
        for number, case, one in zip(order, cases, found, strict=True):
            failures += [
                failure
                for failure in beyond_limits(library, name, observer, case, walked, number, one)
                if failure.counter not in told
            ]
        # Among the observers who probe the wrong end, the worst is kept, case by case.
        before = rows.get(observer.name, found)
        rows[observer.name] = tuple(
            one if one.wrong_part >= other.wrong_part else other
            for one, other in zip(found, before, strict=True)
        )
        ends.setdefault(
            observer.name,
            tuple(
                {end: float(flow.share[number]) / max(count, 1.0) for end, flow in walked.ends.items()}
                for number, count in zip(order, cars, strict=True)
            ),
        )
    honest = [whole[name, HONEST].part(number, number + 1) for number in order]
    ruled_out, more = wrongly_ruled_out(library, name, cases, honest, cars)
    presumed = library.procedures[name].presumes_no
    return Proven(name, circuit, cases, rows, ends, (*failures, *more), ruled_out, presumed, cars)


def _rank(library: Library, fault: str) -> int:
    names = list(library.terms.faults)
    return names.index(fault) if fault in names else len(names)
