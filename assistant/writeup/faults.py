"""The faults that the results rule out, and those that they leave."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.writeup.contents import RuledOut
from assistant.writeup.naming import procedure_of, verdict_of
from assistant.writeup.statement import NOTHING, Source, Statement, line, once, procedure, term

if TYPE_CHECKING:
    from collections.abc import Collection

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Verdict
    from assistant.record.course import Course, Ended


def excluded(library: Library, course: Course) -> dict[str, tuple[int, ...]]:
    """Faults that the standing results exclude, by name, with the numbers of those results."""
    found: dict[str, list[int]] = {}
    for taken in course.standing():
        answer = library.step(taken.result.procedure, taken.result.step).answer(taken.result.outcome)
        for fault in answer.rules_out if answer else ():
            found.setdefault(fault, []).append(taken.result.number)
    return {fault: tuple(numbers) for fault, numbers in found.items()}


def ruled_out(library: Library, course: Course, tests_of: dict[str, tuple[int, ...]]) -> tuple[RuledOut, ...]:
    """Lines about the faults that are `excluded`, given with the numbers of the results that exclude them."""
    by_number = {taken.result.number: taken for taken in course.standing()}
    lines = []
    for fault, tests in tests_of.items():
        sources: list[Source] = [*term("faults", fault)]
        for number in tests:
            taken = by_number[number]
            sources += [
                *line(taken.line),
                *procedure(library, taken.result.procedure, "steps", taken.result.step),
            ]
        lines.append(RuledOut(library.terms.faults[fault].plain, tests, once(sources)))
    return tuple(lines)


def left_open(library: Library, final: Ended | None, gone: Collection[str]) -> Statement:
    """The faults that the verdict names, if there are several, without those that its own tests excluded."""
    left = [fault for fault in verdict_of(library, final).faults if fault not in gone] if final else []
    if final is None or len(left) < 2:
        return NOTHING
    words = "; ".join(library.terms.faults[fault].plain for fault in left)
    named = [source for fault in left for source in term("faults", fault)]
    at = procedure(library, final.procedure, "verdicts", final.verdict, "faults")
    return Statement(words, once((*line(final.line), *at, *named)))


def not_ruled_out(
    library: Library, course: Course, gone: Collection[str], verdict: Verdict | None
) -> tuple[Statement, ...]:
    """Faults that the procedures of this session find or presume, without those excluded and those that the
    verdict names.
    """
    scope: dict[str, list[Source]] = {}
    for name in course.procedures:
        for fault in procedure_of(library, name).presumes_no:
            scope.setdefault(fault, []).extend(procedure(library, name, "presumes_no"))
        for possible in procedure_of(library, name).verdicts.values():
            for fault in possible.faults:
                scope.setdefault(fault, []).extend(procedure(library, name, "verdicts", possible.name))
    named = set(verdict.faults) if verdict else set()
    return tuple(
        Statement(library.terms.faults[fault].plain, once((*term("faults", fault), *sources)))
        for fault, sources in scope.items()
        if fault not in gone and fault not in named
    )
