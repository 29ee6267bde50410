"""The changes that were told while a step was watched, with their times to the second."""

from __future__ import annotations

from bisect import bisect_left
from typing import TYPE_CHECKING

from assistant.core.values.entries import (
    ChangeSeen,
    ChangeUndone,
    ProcedureEntered,
    ProcedurePaused,
    ResultTaken,
    ResultUndone,
    StepSkipped,
)
from assistant.writeup.naming import how_often
from assistant.writeup.statement import line, once, term

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.record.course import Course, Dated, Taken
    from assistant.writeup.statement import Source

_BEGINS_ANEW = (ProcedureEntered, ProcedurePaused, ResultTaken, ResultUndone, StepSkipped)
"""Entries after which a step is entered, so that its changes are counted from one."""


def changes(course: Course, taken: Taken) -> tuple[tuple[Dated, ChangeSeen], ...]:
    """The changes that stood when this result was taken, in order; none if its step was not watched."""
    end = bisect_left(course.entries, taken.line, key=lambda dated: dated.line)
    begin = end
    while begin and not isinstance(course.entries[begin - 1].entry, _BEGINS_ANEW):
        begin -= 1
    found: list[tuple[Dated, ChangeSeen]] = []
    for dated in course.entries[begin:end]:
        if isinstance(dated.entry, ChangeSeen):
            found.append((dated, dated.entry))
        elif isinstance(dated.entry, ChangeUndone):
            found = found[:-1]
    return tuple(found)


def listed(library: Library, course: Course, taken: Taken) -> tuple[str, tuple[Source, ...]]:
    """The number of changes and each with its time, for the table: " once: went out at 10:31:05"."""
    found = changes(course, taken)
    if not found:
        return "", ()
    outcomes = library.terms.outcomes
    each = (f"{outcomes[one.outcome].seen} at {dated.time:%H:%M:%S}" for dated, one in found)
    return f" {how_often(len(found))}: {', '.join(each)}", sources(course, taken)


def counted(course: Course, taken: Taken) -> tuple[str, tuple[Source, ...]]:
    """The number of changes for a sentence: " twice"; "" if there are none."""
    found = changes(course, taken)
    return (f" {how_often(len(found))}", sources(course, taken)) if found else ("", ())


def sources(course: Course, taken: Taken) -> tuple[Source, ...]:
    """The lines of the log and the terms that these words come from."""
    found = changes(course, taken)
    named = (source for _, one in found for source in term("outcomes", one.outcome))
    return once((*line(*(dated.line for dated, _ in found)), *named))
