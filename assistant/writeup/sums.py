"""Sentences about drops whose pieces do not add up to the whole."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.reasoning.adding_up import Drop, unequal
from assistant.core.values.thresholds import OLD_RULES
from assistant.core.values.units import convert
from assistant.core.words import placing
from assistant.writeup.statement import Statement, header, line, once, procedure

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.record.course import Course, Taken
    from assistant.record.recorded import RecordedSession


def _as_given(taken: Taken) -> str:
    """The reading with the unit in which it was given."""
    return f"{taken.result.value:f} {taken.result.unit}"


def not_adding_up(session: RecordedSession, library: Library, course: Course) -> tuple[Statement, ...]:
    """A sentence for each whole that counts and differs from its pieces; none for a session of an earlier version."""
    if session.header.thresholds.rules == OLD_RULES:
        return ()
    standing = course.standing()
    drops = []
    for place, taken in enumerate(standing):
        result = taken.result
        volts = None
        if result.value is not None and result.unit is not None:
            volts = convert(result.value, result.unit, "V")
        if volts is not None:
            drops.append(Drop(library.step(result.procedure, result.step).measure, volts, place))
    said = []
    for found in unequal(drops):
        pieces = [standing[piece.place] for piece in found.pieces]
        whole = standing[found.whole.place]
        numbers = placing.listed([str(taken.result.number) for taken in pieces])
        given = placing.listed([_as_given(taken) for taken in pieces])
        said.append(
            Statement(
                f"The pieces of tests {numbers} do not add up to the whole of test {whole.result.number}: "
                f"{given} against {_as_given(whole)}.",
                once(
                    (
                        *line(whole.line, *(taken.line for taken in pieces)),
                        *header("thresholds"),
                        *(
                            source
                            for taken in (whole, *pieces)
                            for source in procedure(
                                library, taken.result.procedure, "steps", taken.result.step
                            )
                        ),
                    )
                ),
            )
        )
    return tuple(said)
