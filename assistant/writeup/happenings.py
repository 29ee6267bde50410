"""The course of a session: its cautions, cranking, interruptions and remarks."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from assistant.core.values.entries import (
    CautionAcknowledged,
    CautionGiven,
    ChangeUndone,
    Cranked,
    CrankHeard,
    ModeChanged,
    ProcedureEntered,
    ProcedurePaused,
    Remark,
)
from assistant.core.words import placing
from assistant.writeup import perceiving
from assistant.writeup.contents import CautionLine, Moment
from assistant.writeup.naming import HOW, how_often, place, place_sources, procedure_of
from assistant.writeup.statement import (
    Source,
    Statement,
    capital,
    caution,
    clock,
    line,
    once,
    procedure,
    term,
)

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from assistant.core.library.library import Library
    from assistant.record.course import Course, Dated
    from assistant.record.recorded import RecordedSession

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


def cautions(library: Library, course: Course) -> tuple[CautionLine, ...]:
    """Each caution once, with the number of times in each form and the time of its acknowledgement."""
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
                when = f"{clock(dated.time)} {HOW.get(entry.how, entry.how)}"
                acknowledged.setdefault(name, []).append(when)
                at.setdefault(name, []).append(dated.line)
    lines = []
    for name, counted in forms.items():
        known = library.cautions[name]
        times = ", ".join(f"{form} form {how_often(count)}" for form, count in counted.items())
        when_acknowledged = acknowledged.get(name, [])
        missing = "not acknowledged" if known.acknowledge else "no acknowledgement asked for"
        lines.append(
            CautionLine(
                signal=known.signal.value,
                words=known.full if any(form.startswith("full") for form in counted) else known.short,
                given=f"given: {times}",
                acknowledged=f"acknowledged {placing.listed(when_acknowledged)}"
                if when_acknowledged
                else missing,
                sources=once((*line(*at[name]), *caution(name))),
            )
        )
    return tuple(lines)


def cranking(course: Course) -> tuple[Statement, ...]:
    """The number and length of the cranks, s: by the clock, assumed, and by ear."""
    cranked = [(dated.line, dated.entry) for dated in course.entries if isinstance(dated.entry, Cranked)]
    told = [(number, entry) for number, entry in cranked if not isinstance(entry, CrankHeard)]
    timed = [(number, entry.seconds) for number, entry in told if entry.timed]
    assumed = [(number, entry.seconds) for number, entry in told if not entry.timed]
    sentences = []
    if timed:
        total = sum(seconds for _, seconds in timed)
        sentences.append(
            Statement(
                f"Cranked {how_often(len(timed))} by the clock, {total:.1f} s in all.",
                line(*(number for number, _ in timed)),
            )
        )
    if assumed:
        total = sum(seconds for _, seconds in assumed)
        sentences.append(
            Statement(
                f"Cranked {how_often(len(assumed))} without a timer, because nobody said that it began; "
                f"{total:.1f} s in all were assumed for the starter's rest.",
                line(*(number for number, _ in assumed)),
            )
        )
    return (*sentences, *perceiving.cranks_heard(cranked))


def moments(library: Library, session: RecordedSession, course: Course) -> tuple[Moment, ...]:
    """Interruptions, procedures set aside, remarks and lost verdicts in order, and last the things that are only
    counted.
    """
    times = {one.number: one.time for one in session.lines}
    found: list[tuple[int, Moment]] = []
    counted: dict[str, list[int]] = {}
    for dated in course.entries:
        if isinstance(dated.entry, Remark) and dated.entry.kind in _COUNTED:
            counted.setdefault(dated.entry.kind, []).append(dated.line)
        elif told := _told(library, dated, times):
            says, sources = told
            found.append((dated.line, Moment(clock(dated.time), says, sources)))
    found += _lost_verdicts(library, course)
    in_order = [moment for _, moment in sorted(found, key=lambda pair: pair[0])]
    for kind, lines in counted.items():
        says = f"{len(lines)} {_COUNTED[kind][len(lines) != 1]}."
        in_order.append(Moment("", says, line(*lines)))
    return tuple(in_order)


def _told(
    library: Library, dated: Dated, times: dict[int, datetime]
) -> tuple[str, tuple[Source, ...]] | None:
    """An entry in words with its sources; None if it does not belong here.

    Args:
        library: The procedures that were copied into the session.
        dated: The entry.
        times: The time of each line of the log.
    """
    entry = dated.entry
    if isinstance(entry, ModeChanged):
        says = f"{capital(entry.mode)}: {entry.why}" if entry.why else capital(entry.mode)
        sources = line(dated.line)
        if entry.mode == "resumed" and dated.line - 1 in times:
            says += f" (nothing was recorded between {clock(times[dated.line - 1])} and {clock(dated.time)})"
            sources = line(dated.line - 1, dated.line)
        return f"{says.removesuffix('.')}.", sources  # a reason may be whole sentences
    if isinstance(entry, ProcedurePaused):
        title = procedure_of(library, entry.procedure).title
        return f"'{title}' was set aside ({place(library, entry.procedure, entry.step)}).", (
            *line(dated.line),
            *procedure(library, entry.procedure, "title"),
            *place_sources(library, entry.procedure, entry.step),
        )
    if isinstance(entry, ProcedureEntered) and entry.came_back:
        says = f"Back to '{procedure_of(library, entry.procedure).title}'."
        return says, (*line(dated.line), *procedure(library, entry.procedure, "title"))
    if isinstance(entry, ChangeUndone):
        outcome = library.terms.outcomes[entry.outcome].seen
        says = f"Change taken back: {outcome} ({place(library, entry.procedure, entry.step)})."
        named = (*term("outcomes", entry.outcome), *place_sources(library, entry.procedure, entry.step))
        return says, (*line(dated.line), *named)
    if isinstance(entry, Remark):
        text = f": {entry.text}" if entry.text else ""
        says = f"{capital(entry.kind)}{text} ({place(library, entry.procedure, entry.step)})."
        return says, (*line(dated.line), *place_sources(library, entry.procedure, entry.step))
    return None


def _lost_verdicts(library: Library, course: Course) -> Iterator[tuple[int, Moment]]:
    """Verdicts that do not count, by line."""
    for ended in course.verdicts:
        title = procedure_of(library, ended.procedure).title
        if not ended.affirmed:
            says = f"'{title}' led to a verdict that was read out and not confirmed."
        elif ended.withdrawn:
            says = (
                f"A verdict of '{title}' was confirmed, and withdrawn when an answer under it was taken back."
            )
        else:
            continue
        sources = (*line(ended.line), *procedure(library, ended.procedure, "title"))
        yield ended.line, Moment(clock(ended.time), says, sources)
