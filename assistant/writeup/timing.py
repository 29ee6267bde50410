"""The duration of each test, from the times of the log.

A test begins with the answer before it (or the start of its procedure) and ends with its own answer: connecting,
cautions and cranking are part of it.
It leaves out standing by and the time between an interruption and the resumption.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core.values.entries import (
    ModeChanged,
    ProcedureEntered,
    ResultTaken,
    ResultUndone,
    StepSkipped,
    VerdictReached,
)
from assistant.core.values.events import Note

if TYPE_CHECKING:
    from assistant.record.recorded import RecordedSession

_STANDS = {"stand by", "stop"}
_GOES_ON = {"go ahead", "resumed", "closed"}
_WORK = (ProcedureEntered, ResultTaken, StepSkipped, ResultUndone, VerdictReached)
_STANDS_BY = "standing by"
_AWAY = "between an interruption and the resumption"


@dataclass(frozen=True)
class Span:
    """A span of work: its length, its first and last lines of the log, and the pauses left out.

    Attributes:
        seconds: Time worked without pauses, s.
        lines: First and last line, and between them the lines at which a pause begins and ends.
        paused: Length of the pauses, s.
    """

    seconds: float
    lines: tuple[int, ...]
    paused: float = 0.0


@dataclass(frozen=True)
class _Pause:
    seconds: float
    began: int
    ended: int


def pauses(session: RecordedSession) -> tuple[tuple[str, float, int, int], ...]:
    """The pauses: kind, length in s, and the lines of the log at which each begins and ends."""
    found = []
    stands: int | None = None
    before = None
    times = {line.number: line.time for line in session.lines}
    for line in session.lines:
        modes = {
            action.entry.mode
            for action in line.actions
            if isinstance(action, Note) and isinstance(action.entry, ModeChanged)
        }
        if stands is not None and modes & _GOES_ON:
            found.append((_STANDS_BY, (line.time - times[stands]).total_seconds(), stands, line.number))
            stands = None
        elif before is not None and "resumed" in modes:
            found.append((_AWAY, (line.time - times[before]).total_seconds(), before, line.number))
        if stands is None and modes & _STANDS:
            stands = line.number
        before = line.number
    return tuple(found)


class Timeline:
    """The times of a session and its pauses, read once for all spans."""

    def __init__(self, session: RecordedSession) -> None:
        self._times = {line.number: line.time for line in session.lines}
        self._pauses = [_Pause(seconds, began, ended) for _, seconds, began, ended in pauses(session)]
        self._began = [pause.began for pause in self._pauses]

    def between(self, first: int, last: int) -> Span:
        """The time between two lines, without the pauses that lie between them."""
        low, high = bisect_left(self._began, first), bisect_right(self._began, last)
        inside = [pause for pause in self._pauses[low:high] if pause.ended <= last]
        paused = sum(pause.seconds for pause in inside)
        within = (number for pause in inside for number in (pause.began, pause.ended))
        lines = dict.fromkeys([first, *within, last])
        worked = (self._times[last] - self._times[first]).total_seconds() - paused
        return Span(worked, tuple(lines), paused)


def test_spans(session: RecordedSession) -> dict[int, Span]:
    """The span of each result, by the number of its line in the log."""
    spans = {}
    timeline = Timeline(session)
    mark: int | None = None
    for line in session.lines:
        entries = [action.entry for action in line.actions if isinstance(action, Note)]
        if mark is not None and any(isinstance(entry, ResultTaken) for entry in entries):
            spans[line.number] = timeline.between(mark, line.number)
        if any(isinstance(entry, _WORK) for entry in entries):
            mark = line.number
    return spans


def whole_span(session: RecordedSession) -> Span | None:
    """From the start of the first procedure to the last answer or verdict; None if no procedure was begun."""
    work = [
        line.number
        for line in session.lines
        if any(isinstance(action, Note) and isinstance(action.entry, _WORK) for action in line.actions)
    ]
    return Timeline(session).between(work[0], work[-1]) if len(work) > 1 else None
