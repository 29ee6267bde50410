"""The verdict of a session that counts, those before and after it, and the sentence if none counts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.vocabulary import LOAD_CIRCUIT, NO_CIRCUIT
from assistant.core.values.entries import LedBack, ProcedureEntered, ResultTaken, StepSkipped
from assistant.core.words import placing, remarking
from assistant.writeup.contents import Found
from assistant.writeup.naming import how_often, procedure_of, verdict_of
from assistant.writeup.statement import (
    NOTHING,
    Source,
    Statement,
    header,
    line,
    once,
    procedure,
    term,
    terms_of,
)

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.record.course import Course, Ended
    from assistant.record.recorded import RecordedSession


def _standing(course: Course) -> list[Ended]:
    """Verdicts that were affirmed and not taken back, in order."""
    return [ended for ended in course.verdicts if ended.affirmed and not ended.withdrawn]


def _after(course: Course, final: Ended | None) -> list[Ended]:
    """Verdicts after the one that counts."""
    return [] if final is None else [ended for ended in _standing(course) if ended.line > final.line]


def _before(course: Course, final: Ended | None) -> list[Ended]:
    """Verdicts before the one that counts, without those reached again: another test may lead there twice."""
    if final is None:
        return _standing(course)
    again = {(ended.procedure, ended.verdict) for ended in (final, *_after(course, final))}
    earlier = [ended for ended in _standing(course) if ended.line < final.line]
    return [ended for ended in earlier if (ended.procedure, ended.verdict) not in again]


def said(library: Library, final: Ended | None, key: str) -> Statement:
    """Words of a verdict, with their sources."""
    words = getattr(verdict_of(library, final), key) if final else ""
    return Statement(words, said_at(library, final, key)) if words and final else NOTHING


def verify(library: Library, final: Ended | None) -> tuple[Statement, ...]:
    """The checks to make after the repair."""
    if final is None:
        return ()
    sources = said_at(library, final, "verify")
    return tuple(Statement(one, sources) for one in verdict_of(library, final).verify)


def customer(library: Library, final: Ended | None) -> Statement:
    """The meaning of a verdict's only fault for the car's owner."""
    if final is None:
        return NOTHING
    verdict = verdict_of(library, final)
    if len(verdict.faults) != 1 or procedure_of(library, final.procedure).circuit == LOAD_CIRCUIT:
        return NOTHING
    (name,) = verdict.faults
    words = library.terms.faults[name].customer
    sources = (*said_at(library, final, "faults"), *term("faults", name, "customer"))
    return Statement(words, sources) if words else NOTHING


def found_before(library: Library, course: Course, final: Ended | None) -> tuple[Found, ...]:
    """The words of the verdicts before the one that counts."""
    return _all_found(library, _before(course, final))


def found_after(library: Library, course: Course, final: Ended | None) -> tuple[Found, ...]:
    """The words of the verdicts after the one that counts."""
    return _all_found(library, _after(course, final))


def said_at(library: Library, ended: Ended, key: str) -> tuple[Source, ...]:
    """The sources of a verdict's words: the line that read it out, and the copied procedure."""
    return (*line(ended.line), *procedure(library, ended.procedure, "verdicts", ended.verdict, key))


def next_check(library: Library, final: Ended | None) -> Statement:
    """The check that a verdict names as the next one."""
    check = verdict_of(library, final).next_check if final else None
    if final is None or check is None:
        return NOTHING
    back = library.procedures.get(check.come_back)
    title = procedure(library, back.name, "title") if back else ()
    return Statement(
        remarking.check_written(library, check), (*said_at(library, final, "next_check"), *title)
    )


def counting(library: Library, course: Course) -> Ended | None:
    """The session's verdict: the last one, unless work went on.

    Later work without measurements on a circuit, such as proving the repair, does not revoke a verdict that names
    a fault.
    """
    if course.led_back is not None:
        return None
    work = (ProcedureEntered, ResultTaken, StepSkipped)
    went_on = [
        (dated.line, procedure_of(library, dated.entry.procedure).circuit)
        for dated in course.entries
        if isinstance(dated.entry, work)
    ]
    last = None
    later: set[str] = set()
    for ended in reversed(course.verdicts):
        if not ended.affirmed or ended.withdrawn:
            continue
        while went_on and went_on[-1][0] > ended.line:
            later.add(went_on.pop()[1])
        if not later and last is None:
            last = ended
        if not later <= {NO_CIRCUIT}:
            break
        if verdict_of(library, ended).faults:
            return ended
    return last


def _all_found(library: Library, verdicts: list[Ended]) -> tuple[Found, ...]:
    """Each verdict once, in the order of first arrival, with every line that says it."""
    found: dict[tuple[str, str], list[Ended]] = {}
    for ended in verdicts:
        found.setdefault((ended.procedure, ended.verdict), []).append(ended)
    return tuple(_found(library, same) for same in found.values())


def _found(library: Library, same: list[Ended]) -> Found:
    ended = same[0]
    says = verdict_of(library, ended).says
    return Found(
        procedure_of(library, ended.procedure).title,
        f"{says} (Reached {how_often(len(same))}.)" if len(same) > 1 else says,
        (
            *line(*(one.line for one in same)),
            *procedure(library, ended.procedure, "title"),
            *procedure(library, ended.procedure, "verdicts", ended.verdict, "says"),
        ),
    )


def no_verdict(library: Library, session: RecordedSession, course: Course) -> Statement:
    """The reason why there is no cause, with the place where the session stopped."""
    last = line(session.lines[-1].number) if session.lines else header("id")
    if course.led_back is not None and isinstance(course.led_back.entry, LedBack):
        back = course.led_back.entry
        return Statement(f"Not decided. {back.says} {back.next}", line(course.led_back.line))
    if not course.procedure:
        return Statement("No cause yet. No test was begun.", last)
    name = course.procedure
    title = procedure_of(library, name).title
    sources = (*last, *line(course.entries[-1].line), *procedure(library, name, "title"))
    if course.step:
        step = library.step(name, course.step)
    elif (
        course.verdicts
        and course.verdicts[-1].procedure == course.procedure
        and not course.verdicts[-1].affirmed
    ):
        return Statement(
            f"No cause yet. What '{title}' led to was read out and not confirmed.",
            once((*line(course.verdicts[-1].line), *sources)),
        )
    else:
        step = procedure_of(library, name).steps[procedure_of(library, name).start]
    where = f"{placing.connection(library.terms, step.measure)}; {placing.engine_words(step.measure.engine)}"
    return Statement(
        f"No cause yet. The tests stopped in '{title}' before this one was answered: {where}.",
        once((*sources, *procedure(library, name, "steps", step.name), *terms_of(step.measure))),
    )
