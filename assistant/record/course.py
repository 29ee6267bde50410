"""The course of a session: the entries that still count, those that were taken back, and its present position.

Pure; the write-up and the list of sessions both read it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING

from assistant.core.values.entries import (
    Entry,
    FactGiven,
    FactUndone,
    LedBack,
    ProcedureEntered,
    ProcedurePaused,
    ResultPerceived,
    ResultTaken,
    ResultUndone,
    StepSkipped,
    VerdictReached,
)
from assistant.core.values.events import Note

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.record.recorded import RecordedSession


@dataclass(frozen=True)
class Dated:
    """An entry with its time and its line of the log."""

    time: datetime
    line: int
    entry: Entry


@dataclass(frozen=True)
class Taken:
    """A result with its line of the log, when and how it was taken back, if at all, and what perceived it, if it was
    not said or keyed.
    """

    time: datetime
    line: int
    result: ResultTaken
    undone: Dated | None = None
    perceived: ResultPerceived | None = None


@dataclass(frozen=True)
class Passed:
    """A skipped step, and when and how the skip was taken back, if at all."""

    time: datetime
    line: int
    skip: StepSkipped
    undone: Dated | None = None


@dataclass(frozen=True)
class Ended:
    """A verdict: whether it was affirmed, and whether a result under it was taken back later."""

    time: datetime
    line: int
    procedure: str
    verdict: str
    affirmed: bool
    withdrawn: bool = False


@dataclass
class Course:
    """The outcome of a session.

    Attributes:
        entries: Every entry in order.
        results: Every result in order, including those taken back.
        skipped: Every skipped step in order, including those done after all.
        verdicts: Every verdict in order.
        procedures: Procedures in the order in which they were entered.
        procedure: The current procedure; "" before the first.
        step: The current step; "" at the start of a procedure and after a verdict.
        set_aside: Steps of the procedures that wait for another one, by procedure.
        facts: The entries that give a fact or take it back.
        led_back: The place where the dialogue stopped because the tests led back to it; None if work went on.
        places: Positions in `results` of the results with a number.
    """

    entries: list[Dated] = field(default_factory=list)
    results: list[Taken] = field(default_factory=list)
    skipped: list[Passed] = field(default_factory=list)
    verdicts: list[Ended] = field(default_factory=list)
    procedures: list[str] = field(default_factory=list)
    procedure: str = ""
    step: str = ""
    set_aside: dict[str, str] = field(default_factory=dict)
    facts: list[Dated] = field(default_factory=list)
    led_back: Dated | None = None
    places: dict[int, list[int]] = field(default_factory=dict, repr=False)

    def standing(self) -> list[Taken]:
        """Results that count."""
        return [taken for taken in self.results if taken.undone is None]

    def numbered(self, number: int) -> ResultTaken:
        """The last result of this number.

        Raises:
            KeyError: There is none.
        """
        return self.results[self.places[number][-1]].result

    def verdict(self) -> Ended | None:
        """The last verdict that was affirmed and not withdrawn."""
        affirmed = [ended for ended in self.verdicts if ended.affirmed and not ended.withdrawn]
        return affirmed[-1] if affirmed else None


def course_of(session: RecordedSession) -> Course:
    """Follow the entries of a session from the first to the last."""
    return follow(
        Dated(line.time, line.number, action.entry)
        for line in session.lines
        for action in line.actions
        if isinstance(action, Note)
    )


def follow(entries: Iterable[Dated]) -> Course:
    """Go through the entries of a session in order."""
    course = Course()
    perceived: ResultPerceived | None = None
    for dated in entries:
        course.entries.append(dated)
        entry = dated.entry
        if isinstance(entry, ProcedureEntered | ResultTaken | ResultUndone | StepSkipped):
            course.led_back = None  # work went on
        if isinstance(entry, ProcedureEntered):
            if entry.procedure not in course.procedures:
                course.procedures.append(entry.procedure)
            step = course.set_aside.pop(entry.procedure, "") if entry.came_back else ""
            course.procedure, course.step = entry.procedure, step
        elif isinstance(entry, ProcedurePaused):
            course.set_aside[entry.procedure] = entry.step
        elif isinstance(entry, ResultTaken):
            course.places.setdefault(entry.number, []).append(len(course.results))
            seen = perceived if perceived is not None and perceived.number == entry.number else None
            course.results.append(Taken(dated.time, dated.line, entry, perceived=seen))
            _go(course, entry.procedure, entry.next)
        elif isinstance(entry, ResultPerceived):
            perceived = entry
        elif isinstance(entry, StepSkipped):
            course.skipped.append(Passed(dated.time, dated.line, entry))
            _go(course, entry.procedure, entry.next)
        elif isinstance(entry, ResultUndone):
            _undo(course, dated, entry)
        elif isinstance(entry, VerdictReached):
            _end(course, dated, entry)
        elif isinstance(entry, LedBack):
            course.procedure, course.step, course.led_back = entry.procedure, "", dated
        elif isinstance(entry, FactGiven | FactUndone):
            course.facts.append(dated)
    return course


def _go(course: Course, procedure: str, target: str) -> None:
    leads, _, name = target.partition(":")
    course.procedure = name if leads == "procedure" else procedure
    course.step = name if leads == "step" else ""


def _undo(course: Course, dated: Dated, entry: ResultUndone) -> None:
    """Mark as taken back a result by its number, or a skipped step by the number 0."""
    below = []
    for place in course.places.get(entry.number, ()):
        taken = course.results[place]
        if taken.undone is None:
            course.results[place] = replace(taken, undone=dated)
            below.append(taken.line)
    for place, passed in enumerate(course.skipped) if entry.number == 0 else ():
        of_step = (passed.skip.procedure, passed.skip.step) == (entry.procedure, entry.step)
        if of_step and passed.undone is None:
            course.skipped[place] = replace(passed, undone=dated)
            below.append(passed.line)
    # A verdict depends on the answers before it.
    first = min(below, default=None)
    for place in range(len(course.verdicts) - 1, -1, -1):
        ended = course.verdicts[place]
        if first is None or ended.line < first:
            break
        course.verdicts[place] = replace(ended, withdrawn=True)
    course.procedure, course.step = entry.procedure, entry.step


def _end(course: Course, dated: Dated, entry: VerdictReached) -> None:
    ended = Ended(dated.time, dated.line, entry.procedure, entry.verdict, entry.affirmed)
    last = course.verdicts[-1] if course.verdicts else None
    if last and (last.procedure, last.verdict, last.affirmed) == (entry.procedure, entry.verdict, False):
        course.verdicts[-1] = replace(ended, affirmed=entry.affirmed)
    else:
        course.verdicts.append(ended)
    course.procedure, course.step = entry.procedure, ""
