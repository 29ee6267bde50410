"""What the write-up says, before it has a shape: a pure value made from a recorded session.

Every statement names its sources: lines of the log, the header, the seal, reviews, or the procedures that were
copied into the session; what is not known stays empty, to be filled in by hand.
A repair is only ever *recommended* here, until a signed review says what was done.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from assistant.core.library.procedure import (
    LOAD_CIRCUIT,
    NO_CIRCUIT,
    OVER_RANGE,
    SENSES,
    Band,
    Procedure,
    Step,
    Verdict,
)
from assistant.core.reasoning import evidence
from assistant.core.values.entries import (
    ASKED_AGAIN,
    KEPT,
    CautionAcknowledged,
    CautionGiven,
    Cranked,
    FactGiven,
    LedBack,
    ModeChanged,
    ProcedureEntered,
    ProcedurePaused,
    Remark,
    ResultTaken,
    StepSkipped,
    VoiceNoteTaken,
)
from assistant.core.words import wording
from assistant.errors import RecordBroken
from assistant.loading.folder import FINDINGS_FILE
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.record.course import Course, Dated, Ended, Passed, Taken, course_of
from assistant.record.reading import repeated_sentence
from assistant.writeup import given, timing
from assistant.writeup.carrying import carried
from assistant.writeup.contents import (
    MAKER_FIRST,
    MAKER_FIRST_SIGNED,
    NO_LIMIT_OF_OURS,
    UNSIGNED,
    CautionLine,
    Draft,
    Fact,
    Found,
    LabourLine,
    Measured,
    Moment,
    PartLine,
    Reviewed,
    RuledOut,
    Said,
    Skipped,
    VoiceNote,
)
from assistant.writeup.statement import (
    NOTHING,
    Source,
    Statement,
    capital,
    caution,
    clock,
    duration,
    header,
    line,
    once,
    procedure,
    review,
    seal,
    term,
)
from assistant.writeup.sums import not_adding_up
from assistant.writeup.telling import decisive, terms_of, told, way

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.record.reading import RecordedSession
    from assistant.record.reviews import Review

_WORTH_A_LINE = 0.01
"""Probability from which a fault is written down as still possible."""

# Remarks that would fill a page one by one; they are counted.
_COUNTED = {
    "not understood": (
        "phrase was not understood and not taken",
        "phrases were not understood and not taken",
    ),
    "not now": (
        "phrase or key had no meaning at that moment",
        "phrases or keys had no meaning at that moment",
    ),
}
_HOW = {"voice": "by voice", "keypad": "by keypad"}
_CONFIRMED = {
    ("voice", "taken"): "taken as heard",
    ("keypad", "taken"): "taken as keyed",
    ("voice", "read back"): "read back",
    ("keypad", "read back"): "read back",
    ("voice", "affirmed"): "read back and affirmed",
    ("keypad", "affirmed"): "read back and affirmed",
}


def draft(
    session: RecordedSession,
    library: Library,
    reviews: Sequence[Review] = (),
    record: str = "",
    *,
    knowledge: Knowledge | None = None,
) -> Draft:
    """The write-up of a session.

    Args:
        session: The session as it was read.
        library: The procedures that were copied into it.
        reviews: Its reviews, in order.
        record: SHA-256 of the seal's bytes; "" takes that of the first file of the log.
        knowledge: What the results were weighed with; None if they were not weighed.

    Raises:
        RecordBroken: The log names something that the copied procedures do not have.
    """
    try:
        course = course_of(session)
        made = _draft(session, library, course, tuple(reviews), record)
        if knowledge is None or not course.procedure:
            return made
        return replace(made, model=_model(session, library, knowledge, course))
    except KeyError as error:
        raise RecordBroken(
            f"The log of {session.header.id} names {error}, which the procedures copied into the session do not "
            f"have. 'bay-assistant verify' says whether they were altered."
        ) from error


def _draft(
    session: RecordedSession, library: Library, course: Course, reviews: tuple[Review, ...], record: str
) -> Draft:
    final = _final(library, course)
    verdict = _verdict(library, final) if final else None

    def at(key: str) -> tuple[Source, ...]:
        """Where something of the verdict stands."""
        if final is None:
            return ()
        return (*line(final.line), *procedure(library, final.procedure, "verdicts", final.verdict, key))

    ruled_out = _ruled_out(library, course)
    deciding = decisive(library, course, final) if final else []
    signed = [one for one in reviews if one.signed]
    last = signed[-1] if signed else None
    facts = session.header.facts
    return Draft(
        session=session.header.id,
        state=_state(last),
        record=record or (session.logs[0].sha256 if session.logs else ""),
        facts=_facts(session, course),
        concern=Statement(facts.complaint, header("facts.complaint") if facts.complaint else ()),
        findings=(
            *told(library, course, deciding),
            *(carried(library, way(course, final)) if final else ()),
        ),
        cause=Statement(verdict.says, at("says")) if verdict else NOTHING,
        customer=_customer(library, final, at("faults")) if final else NOTHING,
        no_verdict=NOTHING if verdict else _no_verdict(library, session, course),
        found_before=_all_found(library, _before(course, final)),
        found_after=_all_found(library, _after(course, final)),
        part=Statement(verdict.part, at("part")) if verdict and verdict.part else NOTHING,
        correction=Statement(verdict.repair, at("repair")) if verdict else NOTHING,
        done=_done(signed),
        confirmed=_confirmed(library, signed),
        still_possible=Statement(verdict.still_possible, at("still_possible"))
        if verdict and verdict.still_possible
        else NOTHING,
        model=(),
        conditions=given.asked(library, course, specifications=False),
        specifications=given.asked(library, course, specifications=True),
        tests=_tests(session, library, course, deciding),
        time=_time(session),
        skipped=tuple(_skipped(library, passed) for passed in course.skipped),
        not_judged=(*_not_judged(library, course), *not_adding_up(session, library, course)),
        not_reached=_not_reached(library, course),
        ruled_out=_ruled_out_lines(library, course, ruled_out),
        not_ruled_out=_not_ruled_out(library, course, set(ruled_out), verdict),
        verify=tuple(Statement(one, at("verify")) for one in verdict.verify) if verdict else (),
        parts=next((_parts(one) for one in reversed(signed) if one.parts), ()),
        labour=next((_labour(one) for one in reversed(signed) if one.labour), ()),
        cautions=_cautions(library, course),
        cranking=_cranking(course),
        notes=_notes(library, course),
        moments=_moments(library, session, course),
        reviews=_reviews(library, reviews),
        integrity=_integrity(session),
        closing=(
            MAKER_FIRST_SIGNED if last else MAKER_FIRST,
            *((NO_LIMIT_OF_OURS,) if course.results else ()),
        ),
    )


# --- head and the three ---------------------------------------------------------------------------


def _standing(course: Course) -> list[Ended]:
    """Verdicts that were affirmed and not taken back, in order."""
    return [ended for ended in course.verdicts if ended.affirmed and not ended.withdrawn]


def _after(course: Course, final: Ended | None) -> list[Ended]:
    """Verdicts after the one that counts."""
    return [] if final is None else [ended for ended in _standing(course) if ended.line > final.line]


def _before(course: Course, final: Ended | None) -> list[Ended]:
    """Verdicts before the one that counts, less those that were reached again: another test may lead there twice."""
    if final is None:
        return _standing(course)
    again = {(ended.procedure, ended.verdict) for ended in (final, *_after(course, final))}
    earlier = [ended for ended in _standing(course) if ended.line < final.line]
    return [ended for ended in earlier if (ended.procedure, ended.verdict) not in again]


def _customer(library: Library, final: Ended, sources: tuple[Source, ...]) -> Statement:
    """What the one fault of a verdict means to the car's owner."""
    verdict = _verdict(library, final)
    if len(verdict.faults) != 1 or _procedure(library, final.procedure).circuit == LOAD_CIRCUIT:
        return NOTHING
    (name,) = verdict.faults
    words = library.terms.faults[name].customer
    return Statement(words, (*sources, *term("faults", name, "customer"))) if words else NOTHING


def _facts(session: RecordedSession, course: Course) -> tuple[Fact, ...]:
    """The boxes of the head: what was given in the session, else what was typed before it."""
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
            if last.entry.value:  # a blank takes nothing away that was typed
                typed = " ".join(filter(None, (last.entry.value, last.entry.unit)))
                sources = line(last.line)
        return Fact(label, typed, sources)

    return (
        box("Repair order", "order"),
        Fact("Date", f"{started:%Y-%m-%d}", header("started")),
        Fact("Begun", clock(started), header("started")),
        box("Technician", "technician"),
        box("Vehicle", "vehicle"),
        box("VIN", "vin"),
        box("Odometer", "odometer"),
    )


def _state(last: Review | None) -> Statement:
    if last is None or last.signed is None:
        return Statement(UNSIGNED)
    return Statement(
        f"Reviewed and signed by {last.signed.name}, {last.signed.time:%Y-%m-%d %H:%M}", review(last.number)
    )


def _done(signed: list[Review]) -> Statement:
    last = next((one for one in reversed(signed) if one.done), None)
    return Statement(last.done, review(last.number)) if last else NOTHING


def _confirmed(library: Library, signed: list[Review]) -> Statement:
    last = next((one for one in reversed(signed) if one.found), None)
    if last is None:
        return NOTHING
    return Statement(
        wording.listed([_plain(library, name) for name in last.found]),
        (*review(last.number), *(source for name in last.found for source in term("faults", name))),
    )


def _plain(library: Library, name: str) -> str:
    """A fault in words; one that the recorded procedures do not have keeps its name."""
    fault = library.terms.faults.get(name)
    return fault.plain if fault else name


def _final(library: Library, course: Course) -> Ended | None:
    """The verdict that the session came to: the last one, unless work went on.

    What was done afterwards without measuring a circuit, such as proving the repair, does not unsay a verdict that
    names a fault.
    """
    if course.led_back is not None:
        return None
    work = (ProcedureEntered, ResultTaken, StepSkipped)
    went_on = [
        (dated.line, _procedure(library, dated.entry.procedure).circuit)
        for dated in course.entries
        if isinstance(dated.entry, work)
    ]
    last = None
    after: set[str] = set()
    for ended in reversed(course.verdicts):
        if not ended.affirmed or ended.withdrawn:
            continue
        while went_on and went_on[-1][0] > ended.line:
            after.add(went_on.pop()[1])
        if not after and last is None:
            last = ended
        if not after <= {NO_CIRCUIT}:
            break
        if _verdict(library, ended).faults:
            return ended
    return last


def _all_found(library: Library, verdicts: list[Ended]) -> tuple[Found, ...]:
    """Each verdict once, however often it was reached; where it came first, with every line that says it."""
    found: dict[tuple[str, str], list[Ended]] = {}
    for ended in verdicts:
        found.setdefault((ended.procedure, ended.verdict), []).append(ended)
    return tuple(_found(library, same) for same in found.values())


def _found(library: Library, same: list[Ended]) -> Found:
    ended = same[0]
    says = _verdict(library, ended).says
    return Found(
        _procedure(library, ended.procedure).title,
        f"{says} (Reached {_times(len(same))}.)" if len(same) > 1 else says,
        (
            *line(*(one.line for one in same)),
            *procedure(library, ended.procedure, "title"),
            *procedure(library, ended.procedure, "verdicts", ended.verdict, "says"),
        ),
    )


def _no_verdict(library: Library, session: RecordedSession, course: Course) -> Statement:
    last = line(session.lines[-1].number) if session.lines else header("id")
    if course.led_back is not None and isinstance(course.led_back.entry, LedBack):
        back = course.led_back.entry
        return Statement(f"Not decided. {back.says} {back.next}", line(course.led_back.line))
    if not course.procedure:
        return Statement("No verdict was reached. No test was begun.", last)
    name = course.procedure
    title = _procedure(library, name).title
    sources = (*last, *line(course.entries[-1].line), *procedure(library, name, "title"))
    if course.step:
        step = library.step(name, course.step)
    elif (
        course.verdicts
        and course.verdicts[-1].procedure == course.procedure
        and not course.verdicts[-1].affirmed
    ):
        return Statement(
            f"No verdict was reached. What '{title}' led to was read out and not affirmed.",
            once((*line(course.verdicts[-1].line), *sources)),
        )
    else:
        step = _procedure(library, name).steps[_procedure(library, name).start]
    where = f"{wording.connection(library.terms, step.measure)}; {wording.engine_words(step.measure.engine)}"
    return Statement(
        f"No verdict was reached. The session stopped in '{title}' before this test was answered: {where}.",
        once((*sources, *procedure(library, name, "steps", step.name), *terms_of(step.measure))),
    )


# --- tests ----------------------------------------------------------------------------------------


def _tests(
    session: RecordedSession, library: Library, course: Course, deciding: list[Taken]
) -> tuple[Measured, ...]:
    spans = timing.test_spans(session)
    deciding_numbers = {taken.result.number for taken in deciding}
    numbers = given.Numbers(library, course)
    return tuple(
        _test(library, numbers, taken, spans.get(taken.line), decides=taken.result.number in deciding_numbers)
        for taken in course.results
    )


def _test(
    library: Library, given_by: given.Numbers, taken: Taken, span: timing.Span | None, *, decides: bool
) -> Measured:
    result = taken.result
    step = library.step(result.procedure, result.step)
    answer = step.answer(result.outcome)
    if answer is None:
        raise KeyError(result.outcome)
    band = answer if isinstance(answer, Band) and step.reading else None
    numbers, lines = given_by.at(taken.line)
    if step.reading:
        shown = [OVER_RANGE] if result.value is None else []
    else:
        shown = [result.outcome, *([step.good] if step.good else [])]
    return Measured(
        number=result.number,
        time=clock(taken.time),
        took=duration(span.seconds) if span and not result.words.endswith(KEPT) else "",
        procedure=_procedure(library, result.procedure).title,
        connection=capital(wording.connection(library.terms, step.measure)),
        engine=capital(wording.engine_words(step.measure.engine)),
        expected=given.expected(library, step, numbers),
        seen=wording.seen(library, step, result.outcome, result.value, result.unit),
        judged=given.judged(library, step, result, numbers),
        limit=wording.limits(band, step.reading.unit, numbers) if band and step.reading else "",
        source=band.source if band else "",
        captured=_captured(result),
        clip=result.clip or "",
        taken_back=_taken_back(taken.undone),
        decisive=decides,
        sources=once(
            (
                *line(taken.line, *(span.lines if span else ())),
                *(line(taken.undone.line) if taken.undone else ()),
                *procedure(library, result.procedure, "title"),
                *procedure(library, result.procedure, "steps", step.name),
                *terms_of(step.measure),
                *(source for name in shown for source in term("outcomes", name)),
                *(source for name in given.used(step) if name in lines for source in line(lines[name])),
                *(source for name in given.used(step) for source in term("facts", name)),
            )
        ),
    )


def _captured(result: ResultTaken) -> str:
    how = _HOW.get(result.how, result.how)
    confirmed = _CONFIRMED.get((result.how, result.confirmed), result.confirmed)
    if result.how != "voice":
        keys = f', "{result.words}"' if result.words else ""
        return f"{capital(how)}{keys}; {confirmed}"
    level = "" if result.snr_db is None else f", speech {result.snr_db:.0f} dB above the noise"
    return f'{capital(how)}, "{result.words}"; recognition confidence {result.confidence:.2f}{level}; {confirmed}'


def _taken_back(undone: Dated | None) -> str:
    if undone is None:
        return ""
    how = getattr(undone.entry, "how", "")
    return " ".join(filter(None, ("taken back", clock(undone.time), _HOW.get(how, how))))


def _time(session: RecordedSession) -> Statement:
    """How long the diagnosis took, which the shop may charge or not."""
    span = timing.whole_span(session)
    if span is None:
        return NOTHING
    words = f"Measured from the first question to the last answer: {duration(span.seconds)}"
    if span.paused >= 1:
        words += f"; standing by and interruptions of {duration(span.paused)} are left out"
    return Statement(f"{words}.", line(*span.lines))


def _skipped(library: Library, passed: Passed) -> Skipped:
    step = library.step(passed.skip.procedure, passed.skip.step)
    return Skipped(
        time=clock(passed.time),
        connection=capital(wording.connection(library.terms, step.measure)),
        engine=capital(wording.engine_words(step.measure.engine)),
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


def _not_judged(library: Library, course: Course) -> tuple[Statement, ...]:
    """Readings that were kept and lead on without a judgement, because the maker's limit is not known."""
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


def _not_reached(library: Library, course: Course) -> tuple[Statement, ...]:
    """Tests that the answers did not lead to, each measurement once, less those that were done or skipped."""
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
        for step in _procedure(library, name).steps.values():
            if step.measure in known:
                continue
            known.add(step.measure)
            words = wording.named_test(library, step)
            if step.measure.instrument not in SENSES:
                words += f", {wording.engine_words(step.measure.engine)}"
            sources = (
                *line(entered),
                *procedure(library, name, "steps", step.name),
                *terms_of(step.measure),
            )
            found.append(Statement(words, sources))
    return tuple(found)


# --- what follows from them -----------------------------------------------------------------------


def _ruled_out(library: Library, course: Course) -> dict[str, tuple[int, ...]]:
    """Faults that the standing results exclude, by name, with the numbers of those results."""
    found: dict[str, list[int]] = {}
    for taken in course.standing():
        answer = library.step(taken.result.procedure, taken.result.step).answer(taken.result.outcome)
        for fault in answer.rules_out if answer else ():
            found.setdefault(fault, []).append(taken.result.number)
    return {fault: tuple(numbers) for fault, numbers in found.items()}


def _ruled_out_lines(
    library: Library, course: Course, ruled_out: dict[str, tuple[int, ...]]
) -> tuple[RuledOut, ...]:
    by_number = {taken.result.number: taken for taken in course.standing()}
    lines = []
    for fault, tests in ruled_out.items():
        sources: list[Source] = [*term("faults", fault)]
        for number in tests:
            taken = by_number[number]
            sources += [
                *line(taken.line),
                *procedure(library, taken.result.procedure, "steps", taken.result.step),
            ]
        lines.append(RuledOut(library.terms.faults[fault].plain, tests, once(sources)))
    return tuple(lines)


def _not_ruled_out(
    library: Library, course: Course, ruled_out: set[str], verdict: Verdict | None
) -> tuple[Statement, ...]:
    """What the procedures of this session find or presume, less what was excluded and what the verdict names."""
    scope: dict[str, list[Source]] = {}
    for name in course.procedures:
        for fault in _procedure(library, name).presumes_no:
            scope.setdefault(fault, []).extend(procedure(library, name, "presumes_no"))
        for possible in _procedure(library, name).verdicts.values():
            for fault in possible.faults:
                scope.setdefault(fault, []).extend(procedure(library, name, "verdicts", possible.name))
    named = set(verdict.faults) if verdict else set()
    return tuple(
        Statement(library.terms.faults[fault].plain, once((*term("faults", fault), *sources)))
        for fault, sources in scope.items()
        if fault not in ruled_out | named
    )


def _facts_of(session: RecordedSession, course: Course) -> tuple[evidence.Fact, ...]:
    """The results that count, as evidence; one that was asked again and confirmed counts twice."""
    doubted = {
        (taken.result.procedure, taken.result.step, taken.result.outcome)
        for taken in course.results
        if taken.undone is not None and getattr(taken.undone.entry, "how", "") in ASKED_AGAIN
    }
    return tuple(
        evidence.Fact(
            result.procedure,
            result.step,
            result.outcome,
            evidence.sureness(result.how, result.confidence, result.confirmed, session.header.thresholds),
            kept=result.words.endswith(KEPT),
            times=2 if (result.procedure, result.step, result.outcome) in doubted else 1,
        )
        for result in (taken.result for taken in course.standing())
    )


def _model(
    session: RecordedSession, library: Library, knowledge: Knowledge, course: Course
) -> tuple[Statement, ...]:
    """What remains possible, why, and what would tell, a sentence each; nothing without a model of the circuit."""
    circuit = _procedure(library, course.procedure).circuit
    facts = _facts_of(session, course)
    limits = session.header.thresholds
    # A session from before there was such a limit is weighed no longer than one of today.
    most = min(limits.weighed_results, DEFAULT_THRESHOLDS.weighed_results)
    if evidence.known(knowledge, circuit) and len(facts) > most:
        return (
            Statement(
                f"Not weighed: more than {most} results count, too many for one car with one fault.",
                (*line(*(taken.line for taken in course.standing())), *header("thresholds")),
            ),
        )
    assessment = evidence.assess(library, knowledge, circuit, facts, limits)
    if assessment is None or not assessment.used:
        return ()
    standing = course.standing()
    weighed = (
        *line(*(taken.line for taken in standing)),
        Source("procedures/likelihoods.json"),
        Source("procedures/odds.yaml"),
        *header("thresholds"),
    )
    plain = {name: fault.plain for name, fault in library.terms.faults.items()}
    remaining = assessment.remaining(_WORTH_A_LINE)
    listed = "; ".join(f"{plain[fault]} {odds:.0%}" for fault, odds in remaining.items())
    named = tuple(source for fault in remaining for source in term("faults", fault))
    sentences = [
        Statement(f"Among the faults of the catalogue, one at a time: {listed}.", (*weighed, *named))
    ]
    sentences += [
        Statement(
            f"Test {standing[reason.fact].result.number} speaks for the first of these, most of all against: "
            f"{plain[reason.against]}.",
            (*line(standing[reason.fact].line), *term("faults", reason.against), *weighed),
        )
        for reason in assessment.reasons()
    ]
    if assessment.slip >= session.header.thresholds.doubt_from:
        sentences.append(
            Statement(
                "That one of the results is a slip of eye, ear or finger has a probability of "
                f"{assessment.slip:.0%}.",
                weighed,
            )
        )
    final = _final(library, course)
    verdict = _verdict(library, final) if final else None
    unnamed = [fault for fault in remaining if verdict and fault not in verdict.faults]
    best = assessment.best_test() if unnamed or not verdict or len(verdict.faults) > 1 else None
    if best:
        step = best[0]
        connection = wording.connection(library.terms, step.measure)
        sentences.append(
            Statement(
                f"What would tell most for its time: {connection}, {wording.engine_words(step.measure.engine)}.",
                (*_owner(library, step), *terms_of(step.measure), *weighed),
            )
        )
    sentences.append(
        Statement(
            f"Likelihoods {knowledge.version}. Odds before any test: {knowledge.odds.source}",
            (*header("likelihoods"), Source("procedures/odds.yaml")),
        )
    )
    if assessment.counted:
        sentences.append(
            Statement(
                f"Counted beside these odds, which are taken for {knowledge.odds.weight_cars:g} cars: "
                f"{assessment.counted} finding{'' if assessment.counted == 1 else 's'} of this shop, from signed "
                "reviews.",
                (Source(f"procedures/{FINDINGS_FILE}"), Source("procedures/odds.yaml", "weight_cars")),
            )
        )
    return tuple(sentences)


# --- on the way -----------------------------------------------------------------------------------


def _cautions(library: Library, course: Course) -> tuple[CautionLine, ...]:
    forms: dict[str, Counter[str]] = {}
    acknowledged: dict[str, list[str]] = {}
    at: dict[str, list[int]] = {}
    for dated in course.entries:
        entry = dated.entry
        if isinstance(entry, CautionGiven):
            forms.setdefault(entry.caution, Counter())[entry.form] += 1
            at.setdefault(entry.caution, []).append(dated.line)
        elif isinstance(entry, CautionAcknowledged):
            for name in entry.cautions:
                when = f"{clock(dated.time)} {_HOW.get(entry.how, entry.how)}"
                acknowledged.setdefault(name, []).append(when)
                at.setdefault(name, []).append(dated.line)
    lines = []
    for name, counted in forms.items():
        known = library.cautions[name]
        times = ", ".join(f"{form} form {_times(count)}" for form, count in counted.items())
        when_acknowledged = acknowledged.get(name, [])
        missing = "not acknowledged" if known.acknowledge else "no acknowledgement asked for"
        lines.append(
            CautionLine(
                signal=known.signal.value,
                words=known.full if any(form.startswith("full") for form in counted) else known.short,
                given=f"given: {times}",
                acknowledged=f"acknowledged {wording.listed(when_acknowledged)}"
                if when_acknowledged
                else missing,
                sources=once((*line(*at[name]), *caution(name))),
            )
        )
    return tuple(lines)


def _cranking(course: Course) -> tuple[Statement, ...]:
    cranked = [(dated.line, dated.entry) for dated in course.entries if isinstance(dated.entry, Cranked)]
    timed = [(number, entry.seconds) for number, entry in cranked if entry.timed]
    assumed = [(number, entry.seconds) for number, entry in cranked if not entry.timed]
    sentences = []
    if timed:
        total = sum(seconds for _, seconds in timed)
        sentences.append(
            Statement(
                f"Cranked {_times(len(timed))} by the clock, {total:.1f} s in all.",
                line(*(number for number, _ in timed)),
            )
        )
    if assumed:
        total = sum(seconds for _, seconds in assumed)
        sentences.append(
            Statement(
                f"Cranked {_times(len(assumed))} without a timer, because nobody said that it began; "
                f"{total:.1f} s in all were assumed for the starter's rest.",
                line(*(number for number, _ in assumed)),
            )
        )
    return tuple(sentences)


def _notes(library: Library, course: Course) -> tuple[VoiceNote, ...]:
    return tuple(
        VoiceNote(
            time=clock(dated.time),
            place=_place(library, dated.entry.procedure, dated.entry.step),
            clip=dated.entry.clip,
            seconds=f"{dated.entry.duration_s:.1f} s",
            sources=(*line(dated.line), *_place_sources(library, dated.entry.procedure, dated.entry.step)),
        )
        for dated in course.entries
        if isinstance(dated.entry, VoiceNoteTaken)
    )


def _moments(library: Library, session: RecordedSession, course: Course) -> tuple[Moment, ...]:
    times = {one.number: one.time for one in session.lines}
    found: list[tuple[int, Moment]] = []
    counted: dict[str, list[int]] = {}
    for dated in course.entries:
        entry = dated.entry
        if isinstance(entry, ModeChanged):
            says = f"{capital(entry.mode)}: {entry.why}" if entry.why else capital(entry.mode)
            sources = line(dated.line)
            if entry.mode == "resumed" and dated.line - 1 in times:
                says += (
                    f" (nothing was recorded between {clock(times[dated.line - 1])} and {clock(dated.time)})"
                )
                sources = line(dated.line - 1, dated.line)
            says = f"{says.removesuffix('.')}."  # a reason may be whole sentences
            found.append((dated.line, Moment(clock(dated.time), says, sources)))
        elif isinstance(entry, ProcedurePaused):
            title = _procedure(library, entry.procedure).title
            says = f"'{title}' was set aside ({_place(library, entry.procedure, entry.step)})."
            sources = (
                *line(dated.line),
                *procedure(library, entry.procedure, "title"),
                *_place_sources(library, entry.procedure, entry.step),
            )
            found.append((dated.line, Moment(clock(dated.time), says, sources)))
        elif isinstance(entry, ProcedureEntered) and entry.came_back:
            says = f"Back to '{_procedure(library, entry.procedure).title}'."
            sources = (*line(dated.line), *procedure(library, entry.procedure, "title"))
            found.append((dated.line, Moment(clock(dated.time), says, sources)))
        elif isinstance(entry, Remark) and entry.kind in _COUNTED:
            counted.setdefault(entry.kind, []).append(dated.line)
        elif isinstance(entry, Remark):
            place = _place(library, entry.procedure, entry.step)
            text = f": {entry.text}" if entry.text else ""
            says = f"{capital(entry.kind)}{text} ({place})."
            sources = (*line(dated.line), *_place_sources(library, entry.procedure, entry.step))
            found.append((dated.line, Moment(clock(dated.time), says, sources)))
    for ended in course.verdicts:
        title = _procedure(library, ended.procedure).title
        if not ended.affirmed:
            says = f"'{title}' led to a verdict that was read out and not affirmed."
        elif ended.withdrawn:
            says = (
                f"A verdict of '{title}' was affirmed, and withdrawn when an answer under it was taken back."
            )
        else:
            continue
        sources = (*line(ended.line), *procedure(library, ended.procedure, "title"))
        found.append((ended.line, Moment(clock(ended.time), says, sources)))
    moments = [moment for _, moment in sorted(found, key=lambda pair: pair[0])]
    for kind, lines in counted.items():
        says = f"{len(lines)} {_COUNTED[kind][len(lines) != 1]}."
        moments.append(Moment("", says, line(*lines)))
    return tuple(moments)


# --- reviews and the record -----------------------------------------------------------------------


def _reviews(library: Library, reviews: tuple[Review, ...]) -> tuple[Reviewed, ...]:
    shown = []
    for one in reviews:
        sign = one.signed
        signed = (
            f"Signed by {sign.name}, {sign.time:%Y-%m-%d %H:%M}. SHA-256 of the record's seal {sign.record}, "
            f"of the write-up that was signed {sign.writeup}"
            if sign
            else "Not signed"
        )
        later = [other for other in reviews if other.number > one.number]
        says = _says(library, one, later)
        amending = [
            other.number for other in later if any(f"review {other.number}" in one.amended for one in says)
        ]
        shown.append(
            Reviewed(
                number=one.number,
                time=f"{one.time:%Y-%m-%d %H:%M}",
                reviewer=one.reviewer,
                says=says,
                signed=signed,
                sources=once(
                    (
                        *review(one.number),
                        *(source for number in amending for source in review(number)),
                        *(source for name in one.found for source in term("faults", name)),
                    )
                ),
            )
        )
    return tuple(shown)


def _says(library: Library, one: Review, later: list[Review]) -> tuple[Said, ...]:
    """What a review says, each thing with the first later review that says something else about it."""

    def amended(name: str) -> str:
        mine = getattr(one, name)
        found = next((other for other in later if getattr(other, name) not in ((), "", mine)), None)
        return f"amended by review {found.number}" if found else ""

    says = [Said("Done", one.done, amended("done"))] if one.done else []
    if one.found:
        names = wording.listed([_plain(library, name) for name in one.found])
        says.append(Said("Found", names, amended("found")))
    says += [
        Said("Part", _joined(part.part, part.quantity, part.price), amended("parts")) for part in one.parts
    ]
    says += [
        Said(
            "Labour",
            _joined(work.work, f"{work.hours} h" if work.hours else "", work.price),
            amended("labour"),
        )
        for work in one.labour
    ]
    if one.remarks:
        says.append(Said("Remarks", one.remarks, ""))
    return tuple(says)


def _joined(*parts: str) -> str:
    return ", ".join(filter(None, parts))


def _parts(one: Review) -> tuple[PartLine, ...]:
    return tuple(PartLine(part.part, part.quantity, part.price, review(one.number)) for part in one.parts)


def _labour(one: Review) -> tuple[LabourLine, ...]:
    return tuple(LabourLine(work.work, work.hours, work.price, review(one.number)) for work in one.labour)


def _integrity(session: RecordedSession) -> tuple[Statement, ...]:
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


# --- small parts ----------------------------------------------------------------------------------


def _procedure(library: Library, name: str) -> Procedure:
    return library.procedures[name]


def _verdict(library: Library, ended: Ended) -> Verdict:
    return library.procedures[ended.procedure].verdicts[ended.verdict]


def _owner(library: Library, step: Step) -> tuple[Source, ...]:
    """Where a step stands: the first procedure that has just this one."""
    names = (name for name, one in library.procedures.items() if one.steps.get(step.name) == step)
    return procedure(library, next(names), "steps", step.name)


def _place(library: Library, name: str, step: str) -> str:
    """Where in the work something happened, in a few words."""
    if name not in library.procedures:
        return "before the first test"
    steps: dict[str, Step] = library.procedures[name].steps
    if step not in steps:
        return library.procedures[name].title
    return wording.place_words(library, steps[step])


def _place_sources(library: Library, name: str, step: str) -> tuple[Source, ...]:
    if name not in library.procedures:
        return ()
    if step not in library.procedures[name].steps:
        return procedure(library, name, "title")
    measure = library.step(name, step).measure
    return (*procedure(library, name, "steps", step), *terms_of(measure))


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")
