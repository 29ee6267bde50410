"""The results, a row each, and the tests that were skipped, not judged or not reached."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.procedure import Band
from assistant.core.library.vocabulary import OVER_RANGE, SENSES
from assistant.core.values.entries import KEPT, ProcedureEntered
from assistant.core.words import placing, reporting
from assistant.writeup import changing, given, perceiving, timing
from assistant.writeup.contents import Measured, Skipped
from assistant.writeup.naming import HOW, asked, asked_sources, called_by, procedure_of
from assistant.writeup.statement import (
    NOTHING,
    Source,
    Statement,
    capital,
    clock,
    duration,
    line,
    once,
    procedure,
    term,
    terms_of,
)

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Step
    from assistant.record.course import Course, Dated, Passed, Taken
    from assistant.record.recorded import RecordedSession

CODES = "trouble-codes"
"""Place of the step that reads trouble codes."""

_TAKEN = {"voice": "taken as heard", "keypad": "taken as keyed", "tablet": "taken as tapped"}
_CONFIRMED = {"read back": "read back", "affirmed": "read back and affirmed"}


def tests(
    session: RecordedSession, library: Library, course: Course, deciding: list[Taken]
) -> tuple[Measured, ...]:
    """Every result in order, including those taken back; the `deciding` ones are marked."""
    spans = timing.test_spans(session)
    deciding_numbers = {taken.result.number for taken in deciding}
    numbers = given.Numbers(library, course)
    return tuple(
        _test(
            library,
            numbers,
            taken,
            spans.get(taken.line),
            asked=asked(library, course, taken.result),
            named=asked_sources(library, course, taken.result),
            changed=changing.listed(library, course, taken),
            decides=taken.result.number in deciding_numbers,
        )
        for taken in course.results
    )


def _test(
    library: Library,
    given_by: given.Numbers,
    taken: Taken,
    span: timing.Span | None,
    *,
    asked: tuple[Step, str],
    named: tuple[Source, ...],
    changed: tuple[str, tuple[Source, ...]],
    decides: bool,
) -> Measured:
    result = taken.result
    step, outcome = asked
    answer = step.answer(outcome)
    if answer is None:
        raise KeyError(outcome)
    band = answer if isinstance(answer, Band) and step.reading else None
    numbers, lines = given_by.at(taken.line)
    if step.reading:
        shown = [OVER_RANGE] if result.value is None else []
    else:
        shown = [outcome, *([step.good] if step.good else [])]
    return Measured(
        number=result.number,
        time=clock(taken.time),
        took=duration(span.seconds) if span and not result.words.endswith(KEPT) else "",
        procedure=procedure_of(library, result.procedure).title,
        connection=capital(placing.connection(library.terms, step.measure)),
        engine=capital(placing.engine_words(step.measure.engine)),
        expected=given.expected(library, step, numbers),
        seen=reporting.seen(library, step, outcome, result.value, result.unit) + changed[0],
        judged=given.judged(library, step, result, numbers),
        limit=reporting.limits(band, step.reading.unit, numbers) if band and step.reading else "",
        source=band.source if band else "",
        captured=_captured(taken),
        clip=result.clip or "",
        taken_back=_taken_back(taken.undone),
        decisive=decides,
        sources=once(
            (
                *line(taken.line, *(span.lines if span else ())),
                *(line(taken.undone.line) if taken.undone else ()),
                *procedure(library, result.procedure, "title"),
                *named,
                *changed[1],
                *terms_of(step.measure),
                *(source for name in shown for source in term("outcomes", name)),
                *(source for name in given.used(step) if name in lines for source in line(lines[name])),
                *(source for name in given.used(step) for source in term("facts", name)),
            )
        ),
    )


def _captured(taken: Taken) -> str:
    result = taken.result
    how = HOW.get(result.how, result.how)
    confirmed = _CONFIRMED.get(result.confirmed) or _TAKEN.get(result.how, result.confirmed)
    if taken.perceived is not None:
        return f"{perceiving.captured(result, taken.perceived)}; {confirmed}"
    if result.how != "voice":
        keys = f', "{result.words}"' if result.words else ""
        return f"{capital(how)}{keys}; {confirmed}"
    level = "" if result.snr_db is None else f", speech {result.snr_db:.0f} dB above the noise"
    return f'{capital(how)}, "{result.words}"; recognition confidence {result.confidence:.2f}{level}; {confirmed}'


def _taken_back(undone: Dated | None) -> str:
    if undone is None:
        return ""
    how = getattr(undone.entry, "how", "")
    return " ".join(filter(None, ("taken back", clock(undone.time), HOW.get(how, how))))


def skipped(library: Library, course: Course) -> tuple[Skipped, ...]:
    """The skipped tests in order, including those done after all."""
    return tuple(_skipped(library, passed) for passed in course.skipped)


def _skipped(library: Library, passed: Passed) -> Skipped:
    step = library.step(passed.skip.procedure, passed.skip.step)
    return Skipped(
        time=clock(passed.time),
        connection=capital(placing.connection(library.terms, step.measure)),
        engine=capital(placing.engine_words(step.measure.engine)),
        reason=passed.skip.reason,
        taken_back=_taken_back(passed.undone),
        sources=once(
            (
                *line(passed.line),
                *(line(passed.undone.line) if passed.undone else ()),
                *procedure(library, passed.skip.procedure, "steps", step.name),
                *terms_of(step.measure),
            )
        ),
    )


def codes(library: Library, course: Course) -> Statement:
    """What the last reading of trouble codes showed; empty if they were not read."""
    for taken in reversed(course.standing()):
        result = taken.result
        step = library.step(result.procedure, result.step)
        if step.measure.instrument == "eyes" and step.measure.probe == CODES:
            words = reporting.seen(library, step, result.outcome, result.value, result.unit)
            named = procedure(library, result.procedure, "steps", result.step)
            return Statement(words, (*line(taken.line), *named, *term("outcomes", result.outcome)))
    return NOTHING


def not_judged(library: Library, course: Course) -> tuple[Statement, ...]:
    """Readings that were kept without a judgement, because the maker's limit is unknown."""
    found = []
    given_by = given.Numbers(library, course)
    for taken in course.standing():
        result = taken.result
        if not given.is_unjudged(result):
            continue
        step = library.step(result.procedure, result.step)
        numbers, lines = given_by.at(taken.line)
        why = given.why_unjudged(library, step, numbers)
        found.append(
            Statement(
                f"Test {result.number} was not judged; {why}.",
                once(
                    (
                        *line(taken.line, *(lines[name] for name in given.used(step) if name in lines)),
                        *procedure(library, result.procedure, "steps", step.name),
                        *(source for name in given.used(step) for source in term("facts", name)),
                    )
                ),
            )
        )
    return tuple(found)


def not_reached(library: Library, course: Course) -> tuple[Statement, ...]:
    """Tests that the answers did not lead to, each measurement once, without those done or skipped."""
    touched = [(taken.result.procedure, taken.result.step) for taken in course.standing()]
    touched += [
        (passed.skip.procedure, passed.skip.step) for passed in course.skipped if passed.undone is None
    ]
    known = {library.step(*one).measure for one in touched}
    found = []
    for name in course.procedures:
        entered = next(
            dated.line
            for dated in course.entries
            if isinstance(dated.entry, ProcedureEntered) and dated.entry.procedure == name
        )
        for step in procedure_of(library, name).steps.values():
            if step.measure in known:
                continue
            known.add(step.measure)
            words = placing.named_test(library, step)
            if step.measure.instrument not in SENSES:
                words += f", {placing.engine_words(step.measure.engine)}"
            sources = (
                *line(entered),
                *procedure(library, name, "steps", step.name),
                *terms_of(step.measure),
                *called_by(library, step.measure),
            )
            found.append(Statement(words, sources))
    return tuple(found)
