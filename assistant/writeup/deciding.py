"""The tests that decided the cause, before the repair and after it, side by side for the first page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.procedure import Band
from assistant.core.library.vocabulary import OVER_RANGE, UNJUDGED
from assistant.core.values.entries import ResultRepeated
from assistant.core.words import placing, reporting
from assistant.writeup import given
from assistant.writeup.contents import Compared
from assistant.writeup.naming import asked, asked_sources, called_by
from assistant.writeup.statement import Source, capital, line, once, term, terms_of
from assistant.writeup.telling import decisive

_TOLD = ("check", "diagram", "told")
"""Instruments with which nothing is seen or measured."""

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Step
    from assistant.record.course import Course, Ended, Taken


def chosen(library: Library, course: Course, final: Ended | None) -> list[Taken]:
    """The results that decided a verdict: the most telling ones, and those that were repeated after it, in order."""
    if final is None:
        return []
    telling = decisive(library, course, final)
    again = {taken.result.repeats for taken in course.standing() if isinstance(taken.result, ResultRepeated)}
    again -= {taken.result.number for taken in telling}
    more = [one for one in course.standing() if one.result.number in again and one.line <= final.line]
    return sorted([*telling, *more], key=lambda taken: taken.line)


def compared(
    library: Library, course: Course, deciding: list[Taken], final: Ended | None
) -> tuple[Compared, ...]:
    """The deciding tests, each with the same measurement after the verdict; those that failed come first.

    Questions and confirmations are left out: nothing was seen or measured.
    """
    if final is None:
        return ()
    seen = [one for one in deciding if asked(library, course, one.result)[0].measure.instrument not in _TOLD]
    rows = [_row(library, course, taken, _repeated(library, course, taken, final)) for taken in seen]
    return tuple(sorted(rows, key=lambda row: row.before_judged != "failed"))


def _repeated(library: Library, course: Course, before: Taken, final: Ended) -> Taken | None:
    """The last result of the same measurement that was taken after the verdict; None if there is none."""
    measure = asked(library, course, before.result)[0].measure
    later = [taken for taken in course.standing() if taken.line > final.line]
    same = (one for one in reversed(later) if asked(library, course, one.result)[0].measure == measure)
    return next(same, None)


def _row(library: Library, course: Course, before: Taken, after: Taken | None) -> Compared:
    step, _ = asked(library, course, before.result)
    numbers, lines = given.numbers_at(library, course, before.line)
    good = step.answer(step.good) if step.good else None
    both = [before, after] if after else [before]
    sources: list[Source] = []
    for taken in both:
        sources += [*line(taken.line), *asked_sources(library, course, taken.result)]
        sources += _outcomes(library, course, taken)
    sources += [*terms_of(step.measure), *called_by(library, step.measure)]
    for name in given.used(step):
        sources += [*(line(lines[name]) if name in lines else ()), *term("facts", name)]
    seen = [_seen(library, course, taken) for taken in both]
    judged = [_judged(library, course, taken) for taken in both]
    return Compared(
        test=_test_words(library, step),
        before=seen[0],
        before_test=before.result.number,
        before_judged=judged[0],
        after=seen[1] if after else "",
        after_test=after.result.number if after else 0,
        after_judged=judged[1] if after else "",
        good=given.expected(library, step, numbers),
        source=good.source if step.reading and isinstance(good, Band) else "",
        sources=once(sources),
    )


def _test_words(library: Library, step: Step) -> str:
    """A test for a reader who did not make it: "Spark tester, a known-good coil in this spot, cranking"."""
    terms, measure = library.terms, step.measure
    short, spoken = terms.places[measure.probe].short, placing.place_spoken(terms, measure, measure.probe)
    parts = placing.named_test(library, step).split(", ")
    parts = [spoken.removeprefix("the ") if part == short else part for part in parts]
    return capital(", ".join((*parts, placing.engine_words(measure.engine).partition(",")[0])))


def _outcomes(library: Library, course: Course, taken: Taken) -> list[Source]:
    step, outcome = asked(library, course, taken.result)
    if step.reading:
        return [*term("outcomes", OVER_RANGE)] if taken.result.value is None else []
    names = dict.fromkeys((outcome, *([step.good] if step.good else [])))
    return [source for name in names for source in term("outcomes", name)]


def _seen(library: Library, course: Course, taken: Taken) -> str:
    result = taken.result
    step, outcome = asked(library, course, result)
    seen = reporting.seen(library, step, outcome, result.value, result.unit)
    judged = given.judged(library, step, result, given.numbers_at(library, course, taken.line)[0])
    return f"{seen} (judged: {judged})" if judged else seen


def _judged(library: Library, course: Course, taken: Taken) -> str:
    step, outcome = asked(library, course, taken.result)
    if step.good is None or outcome == UNJUDGED:
        return ""
    return "passed" if outcome == step.good else "failed"
