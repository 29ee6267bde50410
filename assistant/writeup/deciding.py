"""The tests that decided the cause, before the repair and after it, side by side for the first page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.procedure import Band
from assistant.core.library.vocabulary import OVER_RANGE
from assistant.core.words import placing, reporting
from assistant.writeup import given
from assistant.writeup.contents import Compared
from assistant.writeup.statement import Source, capital, line, once, procedure, term, terms_of

if TYPE_CHECKING:
    from decimal import Decimal

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Step
    from assistant.record.course import Course, Ended, Taken


def compared(
    library: Library, course: Course, deciding: list[Taken], final: Ended | None
) -> tuple[Compared, ...]:
    """The deciding tests, each with the same measurement after the verdict; those that failed come first."""
    if final is None:
        return ()
    rows = [_row(library, course, taken, _repeated(library, course, taken, final)) for taken in deciding]
    return tuple(sorted(rows, key=lambda row: row.before_judged != "failed"))


def _repeated(library: Library, course: Course, before: Taken, final: Ended) -> Taken | None:
    """The last result of the same measurement that was taken after the verdict; None if there is none."""
    measure = _step(library, before).measure
    later = [taken for taken in course.standing() if taken.line > final.line]
    return next((taken for taken in reversed(later) if _step(library, taken).measure == measure), None)


def _step(library: Library, taken: Taken) -> Step:
    return library.step(taken.result.procedure, taken.result.step)


def _row(library: Library, course: Course, before: Taken, after: Taken | None) -> Compared:
    step = _step(library, before)
    numbers, lines = given.numbers_at(library, course, before.line)
    good = step.answer(step.good) if step.good else None
    sources = [*line(before.line), *procedure(library, before.result.procedure, "steps", step.name)]
    sources += terms_of(step.measure)
    sources += _outcomes(step, before)
    if after is not None:
        sources += [
            *line(after.line),
            *procedure(library, after.result.procedure, "steps", after.result.step),
        ]
        sources += _outcomes(_step(library, after), after)
    for name in given.used(step):
        sources += [*(line(lines[name]) if name in lines else ()), *term("facts", name)]
    engine = placing.engine_words(step.measure.engine).partition(",")[0]
    return Compared(
        test=f"{capital(placing.named_test(library, step))}, {engine}",
        before=_seen(library, step, before, numbers),
        before_test=before.result.number,
        before_judged=_judged(step, before),
        after=_seen(library, _step(library, after), after, numbers) if after else "",
        after_test=after.result.number if after else 0,
        after_judged=_judged(_step(library, after), after) if after else "",
        good=given.expected(library, step, numbers),
        source=good.source if step.reading and isinstance(good, Band) else "",
        sources=once(sources),
    )


def _outcomes(step: Step, taken: Taken) -> list[Source]:
    if step.reading:
        return [*term("outcomes", OVER_RANGE)] if taken.result.value is None else []
    names = dict.fromkeys((taken.result.outcome, *([step.good] if step.good else [])))
    return [source for name in names for source in term("outcomes", name)]


def _seen(library: Library, step: Step, taken: Taken, numbers: dict[str, Decimal]) -> str:
    result = taken.result
    seen = reporting.seen(library, step, result.outcome, result.value, result.unit)
    judged = given.judged(library, step, result, numbers)
    return f"{seen} (judged: {judged})" if judged else seen


def _judged(step: Step, taken: Taken) -> str:
    if step.good is None or given.is_unjudged(taken.result):
        return ""
    return "passed" if taken.result.outcome == step.good else "failed"
