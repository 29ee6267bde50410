"""What the write-up says, before it has a shape: a pure value made from a recorded session.

Every statement comes from a line of the log, from the header, or from the procedures that were copied into the
session; what is not known stays empty, to be filled in by hand.
A repair is only ever *recommended* here: the record does not know what was done afterwards.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core import evidence, wording
from assistant.core.entries import (
    DOUBTED,
    KEPT,
    CautionAcknowledged,
    CautionGiven,
    Cranked,
    ModeChanged,
    ProcedureEntered,
    Remark,
    ResultTaken,
    StepSkipped,
    VoiceNoteTaken,
)
from assistant.core.events import Note
from assistant.core.procedure import Band, Library, Procedure, Step, Verdict
from assistant.errors import RecordBroken
from assistant.record.course import Course, Dated, Ended, Passed, Taken, follow

if TYPE_CHECKING:
    from datetime import datetime

    from assistant.record.reading import RecordedSession

MAKER_FIRST = (
    "The vehicle maker's instructions, local codes and licensed practice come first. "
    "This is a draft made from a recorded session; it counts once it has been reviewed and signed."
)
BY_THE_MODEL = "By the circuit model (no bench measurement behind it)"
"""Title of what the results say together."""

_WORTH_A_LINE = 0.01
"""Probability from which a fault is written down as still possible."""

NO_LIMIT_OF_OURS = "Model figures and common-practice limits named here are not the vehicle maker's."

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


@dataclass(frozen=True)
class Fact:
    """A box of the form: its label and what was given; "" leaves a line to fill in by hand."""

    label: str
    value: str


@dataclass(frozen=True)
class Measured:
    """A result as the write-up shows it.

    Attributes:
        number: Number of the result in the session.
        time: Time of day.
        procedure: Title of the procedure.
        connection: What was connected where.
        engine: State of key and engine.
        expected: What a good system shows; "" where no single thing is good.
        seen: What was seen, or the reading with its unit.
        limit: Limits of the band that a reading fell into; "" without a reading.
        source: Where that limit comes from; "" without a reading.
        captured: How it was captured and confirmed.
        clip: File of the sound; "" when it was keyed.
        taken_back: When and how it was taken back; "" when it counts.
    """

    number: int
    time: str
    procedure: str
    connection: str
    engine: str
    expected: str
    seen: str
    limit: str
    source: str
    captured: str
    clip: str
    taken_back: str


@dataclass(frozen=True)
class Skipped:
    """A test that was not done: when, which, why, and whether it was done after all."""

    time: str
    connection: str
    engine: str
    reason: str
    taken_back: str


@dataclass(frozen=True)
class RuledOut:
    """A fault that can no longer be, and the numbers of the results that say so."""

    fault: str
    tests: tuple[int, ...]


@dataclass(frozen=True)
class CautionLine:
    """A caution: its signal word, its words, how often it was given, and when it was acknowledged."""

    signal: str
    words: str
    given: str
    acknowledged: str


@dataclass(frozen=True)
class VoiceNote:
    """Free speech that was kept as sound: when, where in the procedure, which file, how long."""

    time: str
    place: str
    clip: str
    seconds: str


@dataclass(frozen=True)
class Moment:
    """Something that happened on the way: when, and what."""

    time: str
    says: str


@dataclass(frozen=True)
class Found:
    """What an affirmed verdict said, and the title of its procedure."""

    procedure: str
    says: str


@dataclass(frozen=True)
class Draft:
    """Everything that the write-up says.

    Attributes:
        session: Name of the session.
        facts: Boxes at the head of the form.
        concern: The complaint in the customer's words; "" when none was given.
        cause: The words of the verdict; "" when none counts.
        no_verdict: Why there is no cause: where the session stopped; "" when there is one.
        found_before: Verdicts of earlier procedures of the session.
        part: Part that the verdict names; "" when none is condemned.
        correction: The repair that the verdict recommends; "" without one.
        still_possible: What the verdict does not tell apart; "" when all is told.
        model: What the results say together by the circuit model, a sentence each; empty where there is no model.
        tests: Every result in order, also those that were taken back.
        skipped: Tests that were not done.
        ruled_out: Faults that the results exclude.
        not_ruled_out: Faults of these procedures that no result excludes and the verdict does not name.
        verify: What to verify after the repair.
        cautions: Cautions that were given.
        cranking: Sentences about the time of cranking.
        notes: Voice notes.
        moments: Interruptions, stops, noise, remarks, in order.
        integrity: Sentences about the record itself.
    """

    session: str
    facts: tuple[Fact, ...]
    concern: str
    cause: str
    no_verdict: str
    found_before: tuple[Found, ...]
    part: str
    correction: str
    still_possible: str
    model: tuple[str, ...]
    tests: tuple[Measured, ...]
    skipped: tuple[Skipped, ...]
    ruled_out: tuple[RuledOut, ...]
    not_ruled_out: tuple[str, ...]
    verify: tuple[str, ...]
    cautions: tuple[CautionLine, ...]
    cranking: tuple[str, ...]
    notes: tuple[VoiceNote, ...]
    moments: tuple[Moment, ...]
    integrity: tuple[str, ...]


def draft(session: RecordedSession, library: Library) -> Draft:
    """The write-up of a session.

    Args:
        session: The session as it was read.
        library: The procedures that were copied into it.

    Raises:
        RecordBroken: The log names something that the copied procedures do not have.
    """
    try:
        return _draft(session, library, course_of(session))
    except KeyError as error:
        raise RecordBroken(
            f"The log of {session.header.id} names {error}, which the procedures copied into the session do not "
            f"have. 'bay-assistant verify' says whether they were altered."
        ) from error


def course_of(session: RecordedSession) -> Course:
    """The entries of a session, followed from the first to the last."""
    return follow(
        Dated(line.time, line.number, action.entry)
        for line in session.lines
        for action in line.actions
        if isinstance(action, Note)
    )


def _draft(session: RecordedSession, library: Library, course: Course) -> Draft:
    final = _final(course)
    verdict = library.procedures[final.procedure].verdicts[final.verdict] if final else None
    ruled_out = _ruled_out(library, course)
    return Draft(
        session=session.header.id,
        facts=_facts(session),
        concern=session.header.facts.complaint,
        cause=verdict.says if verdict else "",
        no_verdict="" if verdict else _no_verdict(library, course),
        found_before=tuple(
            Found(_procedure(library, ended.procedure).title, _verdict(library, ended).says)
            for ended in course.verdicts
            if ended.affirmed and not ended.withdrawn and ended is not final
        ),
        part=verdict.part if verdict else "",
        correction=verdict.repair if verdict else "",
        still_possible=verdict.still_possible if verdict else "",
        model=_model(session, library, course, verdict),
        tests=tuple(_test(library, taken) for taken in course.results),
        skipped=tuple(_skipped(library, passed) for passed in course.skipped),
        ruled_out=tuple(
            RuledOut(library.terms.faults[fault].plain, tests) for fault, tests in ruled_out.items()
        ),
        not_ruled_out=_not_ruled_out(library, course, set(ruled_out), verdict),
        verify=verdict.verify if verdict else (),
        cautions=_cautions(library, course),
        cranking=_cranking(course),
        notes=_notes(library, course),
        moments=_moments(library, session, course),
        integrity=_integrity(session),
    )


def _facts(session: RecordedSession) -> tuple[Fact, ...]:
    header, facts = session.header, session.header.facts
    return (
        Fact("Repair order", facts.order),
        Fact("Date", f"{header.started:%Y-%m-%d}"),
        Fact("Begun", f"{header.started:%H:%M}"),
        Fact("Vehicle", facts.vehicle),
        Fact("VIN", facts.vin),
        Fact("Technician", facts.technician),
    )


def _final(course: Course) -> Ended | None:
    """The verdict that the session ended in: the last one, unless work went on in another procedure."""
    verdict = course.verdict()
    if verdict is None:
        return None
    work = (ProcedureEntered, ResultTaken, StepSkipped)
    went_on = any(dated.line > verdict.line and isinstance(dated.entry, work) for dated in course.entries)
    return None if went_on else verdict


def _no_verdict(library: Library, course: Course) -> str:
    if not course.procedure:
        return "No verdict was reached. No test was begun."
    title = _procedure(library, course.procedure).title
    if course.step:
        step = library.step(course.procedure, course.step)
    elif (
        course.verdicts
        and course.verdicts[-1].procedure == course.procedure
        and not course.verdicts[-1].affirmed
    ):
        return f"No verdict was reached. What '{title}' led to was read out and not affirmed."
    else:
        procedure = _procedure(library, course.procedure)
        step = procedure.steps[procedure.start]
    where = f"{wording.connection(library.terms, step.measure)}; {wording.engine_words(step.measure.engine)}"
    return f"No verdict was reached. The session stopped in '{title}' before this test was answered: {where}."


def _test(library: Library, taken: Taken) -> Measured:
    result = taken.result
    step = library.step(result.procedure, result.step)
    answer = step.answer(result.outcome)
    if answer is None:
        raise KeyError(result.outcome)
    band = answer if isinstance(answer, Band) and step.reading else None
    return Measured(
        number=result.number,
        time=_clock(taken.time),
        procedure=_procedure(library, result.procedure).title,
        connection=_capital(wording.connection(library.terms, step.measure)),
        engine=_capital(wording.engine_words(step.measure.engine)),
        expected=wording.expected(library, step),
        seen=wording.seen(library, step, result.outcome, result.value, result.unit),
        limit=wording.limits(band, step.reading.unit) if band and step.reading else "",
        source=band.source if band else "",
        captured=_captured(result),
        clip=result.clip or "",
        taken_back=_taken_back(taken.undone),
    )


def _captured(result: ResultTaken) -> str:
    how = _HOW.get(result.how, result.how)
    confirmed = _CONFIRMED.get((result.how, result.confirmed), result.confirmed)
    if result.how != "voice":
        keys = f', "{result.words}"' if result.words else ""
        return f"{_capital(how)}{keys}; {confirmed}"
    level = "" if result.snr_db is None else f", speech {result.snr_db:.0f} dB above the noise"
    return f'{_capital(how)}, "{result.words}"; recognition confidence {result.confidence:.2f}{level}; {confirmed}'


def _taken_back(undone: Dated | None) -> str:
    if undone is None:
        return ""
    how = getattr(undone.entry, "how", "")
    return " ".join(filter(None, ("taken back", _clock(undone.time), _HOW.get(how, how))))


def _skipped(library: Library, passed: Passed) -> Skipped:
    step = library.step(passed.skip.procedure, passed.skip.step)
    return Skipped(
        time=_clock(passed.time),
        connection=_capital(wording.connection(library.terms, step.measure)),
        engine=_capital(wording.engine_words(step.measure.engine)),
        reason=passed.skip.reason,
        taken_back=_taken_back(passed.undone),
    )


def _ruled_out(library: Library, course: Course) -> dict[str, tuple[int, ...]]:
    """Faults that the standing results exclude, by name, with the numbers of those results."""
    found: dict[str, tuple[int, ...]] = {}
    for taken in course.standing():
        answer = library.step(taken.result.procedure, taken.result.step).answer(taken.result.outcome)
        for fault in answer.rules_out if answer else ():
            found[fault] = (*found.get(fault, ()), taken.result.number)
    return found


def _not_ruled_out(
    library: Library, course: Course, ruled_out: set[str], verdict: Verdict | None
) -> tuple[str, ...]:
    """What the procedures of this session find or presume, less what was excluded and what the verdict names."""
    scope: dict[str, None] = {}
    for name in course.procedures:
        scope.update(dict.fromkeys(_procedure(library, name).presumes_no))
        for possible in _procedure(library, name).verdicts.values():
            scope.update(dict.fromkeys(possible.faults))
    named = set(verdict.faults) if verdict else set()
    return tuple(library.terms.faults[fault].plain for fault in scope if fault not in ruled_out | named)


def _facts_of(session: RecordedSession, course: Course) -> tuple[evidence.Fact, ...]:
    """The results that count, as evidence; one that was asked again and confirmed counts twice."""
    doubted = {
        (taken.result.procedure, taken.result.step, taken.result.outcome)
        for taken in course.results
        if taken.undone is not None and getattr(taken.undone.entry, "how", "") == DOUBTED
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
    session: RecordedSession, library: Library, course: Course, verdict: Verdict | None
) -> tuple[str, ...]:
    """What remains possible, why, and what would tell, a sentence each; nothing without a model of the circuit."""
    if not course.procedure or library.knowledge is None:
        return ()
    circuit = _procedure(library, course.procedure).circuit
    facts = _facts_of(session, course)
    assessment = evidence.assess(library, circuit, facts, session.header.thresholds)
    if assessment is None or not assessment.used:
        return ()
    numbers = [taken.result.number for taken in course.standing()]
    plain = {name: fault.plain for name, fault in library.terms.faults.items()}
    remaining = assessment.remaining(_WORTH_A_LINE)
    listed = "; ".join(f"{plain[fault]} {odds:.0%}" for fault, odds in remaining.items())
    sentences = [f"Among the faults of the catalogue, one at a time: {listed}."]
    sentences += [
        f"Test {numbers[reason.fact]} speaks for the first of these, most of all against: {plain[reason.against]}."
        for reason in assessment.reasons()
    ]
    if assessment.slip >= session.header.thresholds.doubt_from:
        sentences.append(
            f"That one of the results is a slip of eye, ear or finger has a probability of {assessment.slip:.0%}."
        )
    unnamed = [fault for fault in remaining if verdict and fault not in verdict.faults]
    best = assessment.best_test() if unnamed or not verdict or len(verdict.faults) > 1 else None
    if best:
        step = best[0]
        connection = wording.connection(library.terms, step.measure)
        sentences.append(
            f"What would tell most for its time: {connection}, {wording.engine_words(step.measure.engine)}."
        )
    sentences.append(
        f"Likelihoods {library.knowledge.version}. Odds before any test: {library.knowledge.odds.source}"
    )
    if assessment.counted:
        sentences.append(
            f"Counted beside these odds, which are taken for {library.knowledge.odds.weight_cars:g} cars: "
            f"{assessment.counted} finding{'' if assessment.counted == 1 else 's'} of this shop, from signed reviews."
        )
    return tuple(sentences)


def _cautions(library: Library, course: Course) -> tuple[CautionLine, ...]:
    forms: dict[str, Counter[str]] = {}
    acknowledged: dict[str, list[str]] = {}
    for dated in course.entries:
        entry = dated.entry
        if isinstance(entry, CautionGiven):
            forms.setdefault(entry.caution, Counter())[entry.form] += 1
        elif isinstance(entry, CautionAcknowledged):
            for name in entry.cautions:
                acknowledged.setdefault(name, []).append(
                    f"{_clock(dated.time)} {_HOW.get(entry.how, entry.how)}"
                )
    lines = []
    for name, counted in forms.items():
        caution = library.cautions[name]
        given = ", ".join(f"{form} form {_times(count)}" for form, count in counted.items())
        when = acknowledged.get(name, [])
        missing = "not acknowledged" if caution.acknowledge else "no acknowledgement asked for"
        lines.append(
            CautionLine(
                signal=caution.signal.value,
                words=caution.full if any(form.startswith("full") for form in counted) else caution.short,
                given=f"given: {given}",
                acknowledged=f"acknowledged {wording.listed(when)}" if when else missing,
            )
        )
    return tuple(lines)


def _cranking(course: Course) -> tuple[str, ...]:
    cranked = [dated.entry for dated in course.entries if isinstance(dated.entry, Cranked)]
    timed = [entry.seconds for entry in cranked if entry.timed]
    assumed = [entry.seconds for entry in cranked if not entry.timed]
    sentences = []
    if timed:
        sentences.append(f"Cranked {_times(len(timed))} by the clock, {sum(timed):.1f} s in all.")
    if assumed:
        sentences.append(
            f"Cranked {_times(len(assumed))} without a timer, because nobody said that it began; "
            f"{sum(assumed):.1f} s in all were assumed for the starter's rest."
        )
    return tuple(sentences)


def _notes(library: Library, course: Course) -> tuple[VoiceNote, ...]:
    return tuple(
        VoiceNote(
            time=_clock(dated.time),
            place=_place(library, dated.entry.procedure, dated.entry.step),
            clip=dated.entry.clip,
            seconds=f"{dated.entry.duration_s:.1f} s",
        )
        for dated in course.entries
        if isinstance(dated.entry, VoiceNoteTaken)
    )


def _moments(library: Library, session: RecordedSession, course: Course) -> tuple[Moment, ...]:
    times = {line.number: line.time for line in session.lines}
    dated_moments: list[tuple[int, Moment]] = []
    counted: Counter[str] = Counter()
    for dated in course.entries:
        entry = dated.entry
        if isinstance(entry, ModeChanged):
            says = f"{_capital(entry.mode)}: {entry.why}" if entry.why else _capital(entry.mode)
            if entry.mode == "resumed" and dated.line - 1 in times:
                says += f" (nothing was recorded between {_clock(times[dated.line - 1])} and {_clock(dated.time)})"
            dated_moments.append((dated.line, Moment(_clock(dated.time), f"{says}.")))
        elif isinstance(entry, Remark) and entry.kind in _COUNTED:
            counted[entry.kind] += 1
        elif isinstance(entry, Remark):
            place = _place(library, entry.procedure, entry.step)
            text = f": {entry.text}" if entry.text else ""
            says = f"{_capital(entry.kind)}{text} ({place})."
            dated_moments.append((dated.line, Moment(_clock(dated.time), says)))
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
        dated_moments.append((ended.line, Moment(_clock(ended.time), says)))
    moments = [moment for _, moment in sorted(dated_moments, key=lambda pair: pair[0])]
    for kind, count in counted.items():
        moments.append(Moment("", f"{count} {_COUNTED[kind][count != 1]}."))
    return tuple(moments)


def _integrity(session: RecordedSession) -> tuple[str, ...]:
    count = len(session.lines)
    sentences = [
        (
            f"Made from session {session.header.id}, recorded by bay-assistant {session.header.program}: "
            f"{count} {'line' if count == 1 else 'lines'} of log."
        )
    ]
    sentences += [f"SHA-256 of {log.name}: {log.sha256}" for log in session.logs]
    if session.sealed:
        sentences.append(f"Sealed {session.sealed.sealed:%Y-%m-%d %H:%M}.")
    else:
        sentences.append("Not sealed: the session can still go on.")
    if session.torn:
        sentences.append(f"An unfinished last line of {session.torn} bytes was left out.")
    return tuple(sentences)


def printable(words: str) -> str:
    """Words without signs that cannot be printed or stored, such as an undecodable byte that was typed."""
    return "".join(
        sign if sign.isprintable() or sign == "\n" else " " if sign.isspace() else "\N{REPLACEMENT CHARACTER}"
        for sign in words
    )


def _procedure(library: Library, name: str) -> Procedure:
    return library.procedures[name]


def _verdict(library: Library, ended: Ended) -> Verdict:
    return library.procedures[ended.procedure].verdicts[ended.verdict]


def _place(library: Library, procedure: str, step: str) -> str:
    """Where in the work something happened, in a few words."""
    if procedure not in library.procedures:
        return "before the first test"
    steps: dict[str, Step] = library.procedures[procedure].steps
    if step not in steps:
        return library.procedures[procedure].title
    return wording.place_words(library, steps[step])


def _clock(moment: datetime) -> str:
    return f"{moment:%H:%M}"


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
