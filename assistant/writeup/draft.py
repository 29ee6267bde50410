"""The contents of the write-up before layout: a pure value made from a recorded session.

Every statement names its sources: lines of the log, the header, the seal, reviews, or the procedures that were
copied into the session. Unknown values stay empty, to be filled in by hand.
A repair is only ever *recommended* here, until a signed review says what was done.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assistant.errors import RecordBroken
from assistant.record.course import Course, course_of
from assistant.writeup import (
    deciding,
    faults,
    given,
    happenings,
    head,
    model,
    noted,
    ramps,
    results,
    reviewed,
    verdicts,
)
from assistant.writeup.carrying import carried
from assistant.writeup.contents import Draft
from assistant.writeup.naming import verdict_of
from assistant.writeup.statement import NOTHING
from assistant.writeup.sums import not_adding_up
from assistant.writeup.telling import told, way

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.record.recorded import RecordedSession
    from assistant.record.reviews import Review
    from assistant.record.transcripts import Transcript


def draft(
    session: RecordedSession,
    library: Library,
    reviews: Sequence[Review] = (),
    record: str = "",
    *,
    knowledge: Knowledge | None = None,
    transcripts: Sequence[Transcript] = (),
) -> Draft:
    """The write-up of a session.

    Args:
        session: The session as it was read.
        library: The procedures that were copied into it.
        reviews: Its reviews, in order.
        record: SHA-256 of the seal's bytes; "" takes that of the first file of the log.
        knowledge: The knowledge that weighed the results; None if they were not weighed.
        transcripts: What a machine wrote down of its voice notes. They are shown beside the sound, and nothing else
            in the write-up is made with them.

    Raises:
        RecordBroken: The log names something that the copied procedures lack.
    """
    try:
        course = course_of(session)
        made = _draft(session, library, knowledge, course, tuple(reviews), record)
        # After everything else, so that no word of a machine can have reached it.
        return replace(made, notes=noted.notes(library, course, transcripts, reviews))
    except KeyError as error:
        raise RecordBroken(
            f"The log of {session.header.id} names {error}, which the procedures copied into the session do not "
            f"have. 'bay-assistant verify' says whether they were altered."
        ) from error


def _draft(
    session: RecordedSession,
    library: Library,
    knowledge: Knowledge | None,
    course: Course,
    reviews: tuple[Review, ...],
    record: str,
) -> Draft:
    final = verdicts.counting(library, course)
    verdict = verdict_of(library, final) if final else None
    excluded = faults.excluded(library, course)
    chosen = deciding.chosen(library, course, final)
    signed = [one for one in reviews if one.signed]
    return Draft(
        session=session.header.id,
        state=reviewed.state(signed),
        record=record or (session.logs[0].sha256 if session.logs else ""),
        shop=head.shop(session),
        facts=head.boxes(session, course, reviewed.vin(signed)),
        concern=head.concern(session),
        deciding=deciding.compared(library, course, chosen, final),
        findings=(*told(library, course, chosen), *carried(library, way(course, final) if final else [])),
        cause=verdicts.said(library, final, "says"),
        customer=reviewed.customer(library, signed) or verdicts.customer(library, final),
        no_verdict=NOTHING if verdict else verdicts.no_verdict(library, session, course),
        found_before=verdicts.found_before(library, course, final),
        found_after=verdicts.found_after(library, course, final),
        part=verdicts.said(library, final, "part"),
        correction=verdicts.said(library, final, "repair"),
        done=reviewed.done(signed),
        confirmed=reviewed.confirmed(library, signed),
        codes=reviewed.codes(signed) or results.codes(library, course),
        location=reviewed.location(signed),
        open_faults=faults.left_open(library, final, excluded),
        next_check=verdicts.next_check(library, final),
        still_possible=verdicts.said(library, final, "still_possible"),
        model=model.sentences(session, library, knowledge, course, verdict),
        conditions=head.conditions(session, library, course),
        specifications=given.asked(library, course, specifications=True),
        tests=results.tests(session, library, course, chosen),
        ramps=ramps.captured(session, library, knowledge, course, verdict),
        time=head.time(session),
        skipped=results.skipped(library, course),
        not_judged=(*results.not_judged(library, course), *not_adding_up(session, library, course)),
        not_reached=results.not_reached(library, course),
        ruled_out=faults.ruled_out(library, course, excluded),
        not_ruled_out=faults.not_ruled_out(library, course, excluded, verdict),
        verify=verdicts.verify(library, final),
        parts=reviewed.parts(signed),
        labour=reviewed.labour(signed),
        photos=reviewed.photos(reviews),
        cautions=happenings.cautions(library, course),
        cranking=happenings.cranking(course),
        notes=(),
        moments=happenings.moments(library, session, course),
        reviews=reviewed.shown(library, reviews),
        integrity=head.integrity(session),
        closing=head.closing(signed=bool(signed), tested=bool(course.results)),
    )
