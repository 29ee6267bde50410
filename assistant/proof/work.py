"""The proof of procedures as a command: what is proven, by how many processes, and how it is said.

What a proof is, and what its words mean, is in `assistant.proof.walk`.

Several observers are led through each procedure by the same cars (`assistant.circuit.observers`): an honest one, one
who has no value of the vehicle maker, whose clamp shows the mean, who has no clamp, who misses a pin now and then, who
probes the wrong end of the control wire once, for whom nobody cranks, who misreads, who skips every optional test.

How bad a fault is, is drawn for each car, and a fault counts in those cars only whose spark it makes weak or missing.
Every part that a verdict names is judged, also of a verdict on the way to another procedure.
A procedure fails beyond the limits in `LIMITS`, for any of the ways in which a fault comes about; when it leads a car
without a fault to a part; and when an answer rules out a fault that is there.
Misreading and skipping are reported and have no limit here: what the dialogue asks again is not in this walk
(`bench rehearsal`), and a test that was skipped is named as not done in the write-up.
A fault that a procedure presumes excluded (`presumes_no`) is reported and fails nothing there.
A procedure about nothing electrical is not proven, and the report says so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit import catalogue, parameters
from assistant.circuit.looks import Looks
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
from assistant.circuit.observing import VERSION
from assistant.circuit.pieces import carried_out
from assistant.core.library.procedure import NO_CIRCUIT
from assistant.core.words import wording
from assistant.errors import FileProblem, UsageProblem
from assistant.proof.walk import (
    MOST_WRONG_PATH,
    NO_FAULT,
    Case,
    Counter,
    End,
    Judgement,
    Key,
    Row,
    Walk,
    counters,
    followed,
    goes_on,
    never_reached,
    row,
    walk,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from assistant.circuit.catalogue import Mechanism
    from assistant.circuit.parameters import Systems
    from assistant.core.library.library import Library

CAUTION = "These figures come from a model with no bench measurement behind it."

MOST_PART = 0.01
"""Largest share of the cars with one fault of which an observer may be told that a good part is bad."""
MOST_PART_MISSING = 0.02
"""The same for one who misses a pin now and then, or probes the wrong end of the control wire once."""
MOST_UNDECIDED = 0.05
"""Largest share of the cars with one fault that an honest observer may leave undecided, circles included."""

LIMITS: dict[str, dict[str, float]] = {
    "honest": {"wrong_part": MOST_PART, "wrong_path": MOST_WRONG_PATH, "undecided": MOST_UNDECIDED},
    "without values": {"wrong_part": MOST_PART, "wrong_path": MOST_WRONG_PATH, "undecided": MOST_UNDECIDED},
    "mean clamp": {"wrong_part": MOST_PART},
    "no clamp": {"wrong_part": MOST_PART},
    "misses contact": {"wrong_part": MOST_PART_MISSING},
    "wrong end": {"wrong_part": MOST_PART_MISSING},
    "nobody cranks": {"wrong_part": MOST_PART},
}
"""What each observer may come to, as shares of the cars that count, for each way in which a fault comes about."""

FULL = ("honest", "without values")
PART_ONLY = (
    "mean clamp",
    "no clamp",
    "misses contact",
    "wrong end",
    "nobody cranks",
    "misreading",
    "skipping",
)
"""Observers of whom a table gives all figures, and those of whom it gives the good parts that were named."""


def observers(library: Library, entry: str, asked: Asked) -> tuple[Observer, ...]:
    """Everybody who is led through a procedure; the wrong end of the wire is probed once at each place in turn."""
    wrong = [
        Observer("wrong end", wrong_end=(name, step.name))
        for name in followed(library, entry, proven=True)
        for step in library.procedures[name].steps.values()
        if "driver-end" in (step.measure.probe, step.measure.clip)
    ]
    usual = (HONEST, BLANK, MEAN_CLAMP, NO_CLAMP, MISSES, NOBODY_CRANKS, SKIPPING, misreads(asked.misreading))
    return (*usual, *wrong)


PROCESSES = 2
"""At most so many are used: more would not be on the machine beside a technician's other work."""

_SYSTEMS_AT_ONCE = 100
"""Of every mechanism, in one piece of the work: the model simulates all mechanisms of a circuit together."""

_WORTH_PROCESSES = 20
"""From so many cars on further processes are started."""

_MOST_SYSTEMS = 100_000


@dataclass(frozen=True)
class Asked:
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
    counter: Counter | None = None


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
    rows: dict[str, tuple[Row, ...]]
    ends: dict[str, tuple[dict[End, float], ...]]
    failures: tuple[Failure, ...]
    ruled_out: tuple[tuple[str, str, str, str, float], ...]
    presumed: tuple[str, ...] = ()
    cars: tuple[float, ...] = ()


@dataclass(frozen=True)
class Report:
    """The whole proof; `nothing_electrical` are procedures in which there is nothing to prove."""

    asked: Asked
    version: str
    procedures: tuple[Proven, ...]
    unreached: tuple[Key, ...]
    idle: tuple[str, ...]
    nothing_electrical: tuple[str, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether no procedure failed."""
        return not any(proven.failures for proven in self.procedures)


# --- the work -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Unit:
    """A piece of the work: all mechanisms of a circuit, with some of the systems."""

    circuit: str
    entries: tuple[str, ...]
    systems: tuple[int, int]


def _walks(library: Library, asked: Asked, unit: _Unit) -> dict[tuple[str, Observer], Walk]:
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


def systems_of(asked: Asked) -> Systems:
    """The random cars of a proof."""
    return parameters.Systems.random(asked.systems, asked.seed)


def prove(
    library: Library, asked: Asked, progress: Callable[[int, int], None] = lambda _done, _all: None
) -> Report:
    """Prove procedures.

    The same library, seed and number of systems give the same figures, with any number of processes.

    Args:
        library: The procedures.
        asked: What is to be proven.
        progress: Is told the number of finished pieces of the work, and of all.

    Raises:
        UsageProblem: A procedure is unknown, or a number is out of its range.
        FileProblem: A step cannot be simulated, or a procedure's circuit is none of the model's.
    """
    _check(library, asked)
    wanted = asked.procedures or tuple(library.procedures)
    names = electrical(library, wanted)
    circuits: dict[str, tuple[str, ...]] = {}
    for name in names:
        circuit = circuit_of(library, name)
        circuits[circuit] = (*circuits.get(circuit, ()), name)
    for circuit, entries in circuits.items():
        _check_steps(library, circuit, entries)
    units = [unit for circuit, entries in circuits.items() for unit in _units(circuit, entries, asked)]
    whole: dict[tuple[str, Observer], Walk] = {}
    # So few cars are done before a further process has started.
    processes = asked.processes if asked.systems >= _WORTH_PROCESSES else 1
    for number, walks in enumerate(carried_out(_walks, (library, asked), units, processes), start=1):
        for key, walked in walks.items():
            if key in whole:
                whole[key].add(walked)
            else:
                whole[key] = walked
        progress(number, len(units))
    proven = tuple(_proven(library, name, circuit_of(library, name), whole, asked) for name in names)
    return Report(
        asked,
        VERSION,
        proven,
        tuple(_unreached(library, names, whole)),
        tuple(_idle(library, names, proven)),
        nothing_electrical=tuple(name for name in wanted if name not in names),
    )


def electrical(library: Library, names: Iterable[str]) -> tuple[str, ...]:
    """Those of these procedures that are about a circuit."""
    return tuple(name for name in names if library.procedures[name].circuit != NO_CIRCUIT)


def _check(library: Library, asked: Asked) -> None:
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


def _check_steps(library: Library, circuit: str, entries: tuple[str, ...]) -> None:
    """Each step once on a typical car, so that a step that cannot be simulated is told with file and line."""
    sound = catalogue.mechanisms(circuit, NO_FAULT)[:1]
    looks = Looks(library, circuit, sound, parameters.Systems.typical())
    for name in dict.fromkeys(other for entry in entries for other in followed(library, entry, proven=True)):
        for step in library.procedures[name].steps:
            looks.shares()((name, step))


def _units(circuit: str, entries: tuple[str, ...], asked: Asked) -> Iterator[_Unit]:
    """The pieces, the same for any number of processes."""
    for first in range(0, asked.systems, _SYSTEMS_AT_ONCE):
        yield _Unit(circuit, entries, (first, min(first + _SYSTEMS_AT_ONCE, asked.systems)))


# --- what came out --------------------------------------------------------------------------------


def _proven(
    library: Library,
    name: str,
    circuit: str,
    whole: dict[tuple[str, Observer], Walk],
    asked: Asked,
) -> Proven:
    mechanisms = catalogue.mechanisms(circuit)
    order = sorted(range(len(mechanisms)), key=lambda number: _rank(library, mechanisms[number].fault))
    cases = tuple(case_of(mechanisms[number]) for number in order)
    # Each car that counts ends somewhere, so the shares of all ends add up to their number.
    counted = np.sum([flow.share for flow in whole[name, HONEST].ends.values()], axis=0)
    cars = tuple(round(float(counted[number]), 6) for number in order)
    rows: dict[str, tuple[Row, ...]] = {}
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
                for failure in _failures(library, name, observer, case, walked, number, one)
                if failure.counter not in told
            ]
        # Of those who probe the wrong end at one place the worst is kept, case by case.
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
    ruled_out, more = _ruled_out(library, name, cases, honest, cars)
    presumed = library.procedures[name].presumes_no
    return Proven(name, circuit, cases, rows, ends, (*failures, *more), ruled_out, presumed, cars)


def _ruled_out(
    library: Library, name: str, cases: Sequence[Case], walks: Sequence[Walk], cars: Sequence[float]
) -> tuple[tuple[tuple[str, str, str, str, float], ...], list[Failure]]:
    """Answers that rule out a fault that is there: their shares, and the failures where they are clear."""
    found, failures = [], []
    for case, walked, count in zip(cases, walks, cars, strict=True):
        for (procedure, step, outcome), flow in walked.ruled_out.items():
            answer = library.step(procedure, step).answer(outcome)
            wrongly = [fault for fault in case.faults if answer is not None and fault in answer.rules_out]
            if not wrongly:
                continue
            share = float(flow.share[0]) / max(count, 1.0)
            found.append((procedure, step, outcome, wrongly[0], share))
            if share > MOST_PART and case.fault not in library.procedures[name].presumes_no:
                where = f"{library.procedures[procedure].file}:{library.step(procedure, step).line}"
                failures.append(
                    Failure(
                        f"{where}: '{outcome}' rules out {wrongly[0]}, and {share:.1%} of the cars with it "
                        f"({case.mechanism}) show that."
                    )
                )
    return tuple(found), failures


def case_of(mechanism: Mechanism) -> Case:
    """What a mechanism is to the proof."""
    return Case(mechanism.fault, mechanism.name, mechanism.also, mechanism.parts)


def _rank(library: Library, fault: str) -> int:
    names = list(library.terms.faults)
    return names.index(fault) if fault in names else len(names)


TWO_MISTAKES = "coil-terminals-swapped"
"""A mechanism that is itself a mistake about places; it is not put together with a wrong place of the observer."""

_JUDGED = {
    "wrong_part": (Judgement.WRONG_PART, "a good part is named"),
    "wrong_path": (Judgement.WRONG_PATH, "another fault is named"),
    "undecided": (Judgement.UNDECIDED, "nothing is decided"),
}


def _failures(
    library: Library, name: str, observer: Observer, case: Case, walked: Walk, number: int, one: Row
) -> Iterator[Failure]:
    """Why a way in which a fault comes about fails for an observer, if it does."""
    if case.fault in library.procedures[name].presumes_no:
        return
    if observer.wrong_end and case.mechanism == TWO_MISTAKES:
        return  # two wires in each other's place, and the wrong end of one of them: two mistakes at once
    for figure, limit in LIMITS.get(observer.name, {}).items():
        if case.fault == NO_FAULT and figure != "wrong_part":
            continue  # a car without a fault decides nothing, and that is right
        judgement, words = _JUDGED[figure]
        share = getattr(one, figure) + (one.wrong_on_the_way if figure == "wrong_path" else 0.0)
        if share <= limit + 1e-9:
            continue
        found = [
            replace(counter, observer=observer)
            for counter in counters(library, name, walked, {number: case})
            if counter.judgement is judgement
        ]
        found.sort(key=lambda counter: (not counter.clear, -counter.share))
        end = f", as at the end {found[0].end}" if found else ""
        yield Failure(
            f"{name}: {words} to {_WHO[observer.name]} in {share:.1%} of the cars with {called(case)}, "
            f"the limit is {limit:.0%}{end}.",
            found[0] if found else None,
        )


_WHO = {
    "honest": "an honest observer",
    "without values": "an honest observer without the maker's values",
    "mean clamp": "one whose clamp shows the mean",
    "no clamp": "one without a clamp",
    "misses contact": "one who misses a pin now and then",
    "wrong end": "one who probes the wrong end of the control wire once",
    "nobody cranks": "one for whom nobody cranks",
}


def called(case: Case) -> str:
    """A case in words."""
    return case.fault if case.mechanism in ("", case.fault) else f"{case.fault} ({case.mechanism})"


def _unreached(library: Library, names: Sequence[str], whole: dict[tuple[str, Observer], Walk]) -> list[Key]:
    reached: set[Key] = set()
    for name in names:
        faulty = [
            number
            for number, one in enumerate(catalogue.mechanisms(circuit_of(library, name)))
            if one.fault != NO_FAULT
        ]
        walks = [whole[name, observer] for observer in (HONEST, BLANK, SKIPPING, NO_CLAMP)]
        missed = set(never_reached(library, names, walks, faulty))
        reached |= {
            (other, step)
            for other in names
            for step in library.procedures[other].steps
            if (other, step) not in missed
        }
    return [
        (name, step)
        for name in names
        for step in library.procedures[name].steps
        if (name, step) not in reached
    ]


def _idle(library: Library, names: Sequence[str], proven: Iterable[Proven]) -> list[str]:
    """Verdicts that no honest observer comes to, and faults that a verdict names and that never lead there."""
    came: dict[End, set[str]] = {}
    for one in proven:
        for observer in ("honest", "without values", "skipping", "no clamp"):
            for case, ends in zip(one.cases, one.ends[observer], strict=True):
                for end, share in ends.items():
                    if share > 0:
                        came.setdefault(end, set()).update(case.faults)
    found = []
    for name in names:
        for verdict in library.procedures[name].verdicts.values():
            if verdict.continue_with and goes_on(library, name, verdict.continue_with):
                continue
            faults = came.get(End(name, verdict.name), set()) - {NO_FAULT}
            if not faults:
                found.append(f"{name}: {verdict.name} (no fault leads there)")
                continue
            never = [fault for fault in verdict.faults if fault not in faults]
            if never and len(never) == len(verdict.faults):
                found.append(f"{name}: {verdict.name} (none of the faults that it names leads there)")
            elif never:
                found.append(
                    f"{name}: {verdict.name} (names {wording.listed(never)}, which never lead there)"
                )
    return found
