"""The worth of an end of a procedure for a car with a fault, and the resulting figures.

Every part that a verdict names is judged, even if the verdict only leads to another procedure.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from assistant.circuit.catalogue import NONE
from assistant.circuit.observers import Observer
from assistant.proof.walk import End, Walk

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from assistant.circuit.looks import Key
    from assistant.core.library.library import Library

NO_FAULT = NONE
"""The fault name of a car without a fault."""


class Worth(StrEnum):
    """The worth of an end of a procedure for a given fault."""

    RIGHT = "right"
    WRONG_PART = "wrong part"
    WRONG_PATH = "wrong path"
    UNDECIDED = "undecided"
    HANDED_OVER = "handed over"


@dataclass(frozen=True)
class Case:
    """One way in which a fault comes about.

    `also` are further faults that come with it, and `parts` the parts that are truly bad, named as in verdicts.
    """

    fault: str
    mechanism: str
    also: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()

    @property
    def faults(self) -> tuple[str, ...]:
        """All that is wrong."""
        return (self.fault, *self.also)


def judge(library: Library, end: End, case: Case) -> Worth:
    """The worth of this end for a car with these faults.

    A verdict is right if it covers all the faults, names no good part, and discriminates: a verdict that names
    faults of several parts but none of these parts has decided nothing.
    A verdict that names a good part, alone or beside a bad one, condemns a wrong part.
    Any other verdict leaves a fault unmentioned and costs a further test.
    """
    if end.left:
        return Worth.HANDED_OVER
    if not end.verdict:
        return Worth.UNDECIDED
    verdict = library.procedures[end.procedure].verdicts[end.verdict]
    if condemns(library, end, case):
        return Worth.WRONG_PART
    if not verdict.faults:
        return Worth.UNDECIDED
    # A verdict that names one of two bad parts is right: the next round finds the other one.
    named = set(case.faults) & set(verdict.faults)
    if not named or (not verdict.part and len(named) < len(case.faults)):
        return Worth.WRONG_PATH
    of_parts = {library.terms.faults[fault].part for fault in verdict.faults}
    return Worth.RIGHT if verdict.part or len(of_parts) == 1 else Worth.UNDECIDED


def condemns(library: Library, end: End, case: Case) -> bool:
    """Whether a verdict names a good part in this case."""
    if not end.verdict:
        return False
    part = library.procedures[end.procedure].verdicts[end.verdict].part
    return bool(part) and any(one not in case.parts for one in part.split(" and "))


def leads_astray(library: Library, passed: End, case: Case) -> bool:
    """Whether a verdict that goes on with another procedure names faults, but no present one."""
    named = library.procedures[passed.procedure].verdicts[passed.verdict].faults
    return bool(named) and not set(named) & set(case.faults)


@dataclass(frozen=True)
class CaseFigures:
    """One case with one observer: shares of the systems, each from 0 to 1.

    Attributes:
        right: Ended in a verdict that covers the fault.
        wrong_part: Heard a verdict that condemns a good part, on the way or at the end.
        wrong_path: Ended in a verdict that names another fault, but no good part.
        undecided: Ended without a verdict, in a circle, or in a verdict that does not discriminate between parts.
        clear_wrong: Reached a wrong verdict, of either kind, by clear answers alone.
        clear_undecided: Reached no verdict, by clear answers alone.
        wrong_on_the_way: Heard a verdict that misses the fault and goes on to another procedure.
        clear_on_the_way: Heard such a verdict by clear answers alone.
    """

    right: float
    wrong_part: float
    wrong_path: float
    undecided: float
    clear_wrong: float
    clear_undecided: float
    wrong_on_the_way: float
    clear_on_the_way: float


@dataclass(frozen=True)
class CounterExample:
    """A car that is led to a wrong verdict.

    Attributes:
        procedure: The first procedure.
        case: The fault.
        system: Number of the car among the random systems.
        end: Its end.
        worth: The kind of error.
        clear: Whether each answer on the way was clear; if not, `share` is the share of this end.
        share: Share of this end for this car.
        observer: The observer; None for an honest one.
    """

    procedure: str
    case: Case
    system: int
    end: End
    worth: Worth
    clear: bool
    share: float
    observer: Observer | None = None


def row(library: Library, walked: Walk, number: int, case: Case, systems: float) -> CaseFigures:
    """The figures of one mechanism of a walk.

    Args:
        library: The procedures.
        walked: The walk.
        number: Number of the mechanism in it.
        case: The case of that mechanism.
        systems: Number of systems that count.
    """
    if not systems:
        return CaseFigures(1.0, *[0.0] * 7)
    shares = dict.fromkeys(Worth, 0.0)
    clear = dict.fromkeys(Worth, 0.0)
    for end, flow in walked.ends.items():
        worth = judge(library, end, case)
        shares[worth] += float(flow.share[number]) / systems
        clear[worth] += float(flow.clear[number]) / systems
    for end, flow in walked.passed.items():
        if condemns(library, end, case):
            shares[Worth.WRONG_PART] += float(flow.share[number]) / systems
            clear[Worth.WRONG_PART] += float(flow.clear[number]) / systems
    astray = [flow for end, flow in walked.passed.items() if leads_astray(library, end, case)]
    return CaseFigures(
        shares[Worth.RIGHT],
        shares[Worth.WRONG_PART],
        shares[Worth.WRONG_PATH],
        shares[Worth.UNDECIDED],
        clear[Worth.WRONG_PART] + clear[Worth.WRONG_PATH],
        clear[Worth.UNDECIDED],
        sum(float(flow.share[number]) for flow in astray) / systems,
        sum(float(flow.clear[number]) for flow in astray) / systems,
    )


def counters(library: Library, entry: str, walked: Walk, cases: Mapping[int, Case]) -> list[CounterExample]:
    """One car for each case and wrong end: the first that gets there by clear answers, or else the likeliest.

    A verdict on the way that leads astray is a wrong path; a circle reached by clear answers is undecided.
    """
    found = []
    for number, case in cases.items():
        places = [(end, judge(library, end, case), flow) for end, flow in walked.ends.items()]
        places += [
            (end, Worth.WRONG_PART if condemns(library, end, case) else Worth.WRONG_PATH, flow)
            for end, flow in walked.passed.items()
            if condemns(library, end, case) or leads_astray(library, end, case)
        ]
        for end, worth, flow in places:
            if not flow.share[number] or worth in (Worth.RIGHT, Worth.HANDED_OVER):
                continue
            clear = bool(flow.clear[number])
            system = flow.first_clear[number] if clear else flow.largest_at[number]
            share = 1.0 if clear else float(flow.largest[number])
            found.append(CounterExample(entry, case, int(system), end, worth, clear, share))
    return found


def never_reached(
    library: Library, names: Iterable[str], walks: Iterable[Walk], faulty: list[int]
) -> list[Key]:
    """Steps of these procedures that no car with a fault reaches.

    Args:
        library: The procedures.
        names: Names of the procedures whose steps are examined.
        walks: Walks of honest observers.
        faulty: Numbers of the mechanisms that are a fault.
    """
    reached = {key for one in walks for key, flow in one.reached.items() if flow.share[faulty].any()}
    return [
        (name, step)
        for name in names
        for step in library.procedures[name].steps
        if (name, step) not in reached
    ]
