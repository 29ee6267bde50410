"""The frame of the write-up: the boxes at its head, the time that the diagnosis took, and its record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.values.entries import FactGiven
from assistant.record.recorded import repeated_sentence
from assistant.writeup import given, timing
from assistant.writeup.contents import MAKER_FIRST, MAKER_FIRST_SIGNED, NO_LIMIT_OF_OURS, Asked, Fact
from assistant.writeup.statement import NOTHING, Source, Statement, clock, duration, header, line, seal, term

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.record.course import Course
    from assistant.record.recorded import RecordedSession

CLAMP = "clamp"
"""What the terms call every current clamp in short."""


def boxes(session: RecordedSession, course: Course, vin: Statement = NOTHING) -> tuple[Fact, ...]:
    """The boxes of the head: facts from the session, or else facts typed before it.

    Args:
        session: The record.
        course: What happened in it.
        vin: The vehicle identification number from a review, which counts instead.
    """
    facts = session.header.facts
    started = session.header.started
    standing = given.facts_of(course)

    def box(label: str, key: str) -> Fact:
        typed = getattr(facts, key)
        sources = header(f"facts.{key}") if typed else ()
        if key in standing:
            last = standing[key].given
            if last is None or not isinstance(last.entry, FactGiven):
                return Fact(label, "")
            if last.entry.value:  # a blank does not remove a typed fact
                typed = " ".join(filter(None, (last.entry.value, last.entry.unit)))
                sources = line(last.line)
        return Fact(label, typed, sources)

    return (
        box("Repair order", "order"),
        Fact("Date", f"{started:%Y-%m-%d}", header("started")),
        Fact("Begun", clock(started), header("started")),
        box("Technician", "technician"),
        box("Vehicle", "vehicle"),
        Fact("VIN", vin.text, vin.sources) if vin else box("VIN", "vin"),
        box("Odometer", "odometer"),
    )


def shop(session: RecordedSession) -> tuple[Statement, ...]:
    """The shop's name, address and telephone number, as its settings told them when the session began."""
    known = session.header.shop
    told = (("name", known.name), ("address", known.address), ("telephone", known.telephone))
    return tuple(Statement(value, header(f"shop.{key}")) for key, value in told if value)


def conditions(session: RecordedSession, library: Library, course: Course) -> tuple[Asked, ...]:
    """Facts about the car and the work, from the session and from the shop's settings."""
    return (*given.asked(library, course, specifications=False), *_tools(session, library, course))


def _tools(session: RecordedSession, library: Library, course: Course) -> tuple[Asked, ...]:
    """The shop's current clamp, if its settings named one and a result was measured with it."""
    clamp = session.header.shop.clamp
    used = {library.step(one.result.procedure, one.result.step).measure.instrument for one in course.results}
    with_clamp = sorted(name for name in used if library.terms.instruments[name].short == CLAMP)
    if not clamp or not with_clamp:
        return ()
    sources = (*header("shop.clamp"), *term("instruments", with_clamp[0]))
    return (Asked("Clamp", clamp, "from the shop's settings", "", (), sources),)


def concern(session: RecordedSession) -> Statement:
    """The complaint in the customer's words."""
    complaint = session.header.facts.complaint
    return Statement(complaint, header("facts.complaint") if complaint else ())


def time(session: RecordedSession) -> Statement:
    """The time that the diagnosis took, which the shop may charge or not."""
    span = timing.whole_span(session)
    if span is None:
        return NOTHING
    words = f"{duration(span.seconds)} from the first question to the last answer"
    if span.paused >= 1:
        words += f"; standing by and interruptions of {duration(span.paused)} are left out"
    return Statement(f"{words}.", line(*span.lines))


def integrity(session: RecordedSession) -> tuple[Statement, ...]:
    """The record itself: its size, its checksums, its seal, and the parts left out of it."""
    count = len(session.lines)
    own = header("id") + header("program")
    sentences = [
        Statement(
            f"Made from session {session.header.id}, recorded by bay-assistant {session.header.program}: "
            f"{count} {'line' if count == 1 else 'lines'} of log.",
            (*own, Source("log")),
        )
    ]
    sentences += [
        Statement(f"SHA-256 of {log.name}: {log.sha256}", (Source(log.name),)) for log in session.logs
    ]
    if session.sealed:
        sentences.append(Statement(f"Sealed {session.sealed.sealed:%Y-%m-%d %H:%M}.", seal("sealed")))
    else:
        sentences.append(Statement("Not sealed: the session can still go on.", own))
    if session.torn:
        sentences.append(
            Statement(f"An unfinished last line of {session.torn} bytes was left out.", (Source("log"),))
        )
    if session.repeated:
        sentences.append(Statement(repeated_sentence(session.repeated), (Source("log"),)))
    return tuple(sentences)


def closing(*, signed: bool, tested: bool) -> tuple[str, ...]:
    """The notice below every write-up.

    Args:
        signed: Whether a review of it was signed.
        tested: Whether any result was taken.
    """
    return (MAKER_FIRST_SIGNED if signed else MAKER_FIRST, *((NO_LIMIT_OF_OURS,) if tested else ()))
