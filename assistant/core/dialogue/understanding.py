"""The meaning of an answer for the step or the fact in question."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from assistant.core.dialogue import asking
from assistant.core.dialogue.inquiring import Origin, Waiting
from assistant.core.dialogue.states import State
from assistant.core.dialogue.trail import Pending
from assistant.core.dialogue.triggers import UNEXPECTED, ChangeTold, Known, Named, Signs, Trigger, Worded
from assistant.core.library.terms import FactKind
from assistant.core.library.vocabulary import CHANGED, OVER_RANGE, UNCHANGED, WATCHED
from assistant.core.values.units import convert, number_words, plain_number
from assistant.core.words import placing

if TYPE_CHECKING:
    from assistant.core.dialogue.talk import Talk
    from assistant.core.library.procedure import Answer, Reading
    from assistant.core.values.result import Result


def understand_result(talk: Talk, result: Result, source: Origin, snr_db: float | None = None) -> Known[Any]:
    """The meaning of an answer for the present step.

    Args:
        talk: The session.
        result: The spoken or keyed answer.
        source: How it was said or keyed.
        snr_db: Speech level over noise level, in dB; None for a key.
    """
    step = talk.work.step
    if step is None:
        return UNEXPECTED
    if result.place is not None and not placing.fits(step, result.place):
        return Known(Trigger.WRONG_PLACE, Named(result.place))
    if step.watch and result.outcome is not None:
        return (
            Known(Trigger.CHANGE, ChangeTold(result.outcome, source))
            if result.outcome in WATCHED
            else UNEXPECTED
        )
    value, unit = result.value, result.unit
    answer: Answer | None = None
    judged: Decimal | None = None
    if value is not None and step.reading is not None:
        unit = unit or step.reading.unit
        base = convert(value, unit, step.reading.unit)
        if base is None:
            return UNEXPECTED
        low, high = step.reading.plausible
        if not low <= base <= high:
            return Known(Trigger.IMPLAUSIBLE, Worded(number_words(value, unit)))
        answer, judged = judge(talk, step.reading, base)
    elif result.outcome == OVER_RANGE and step.reading is not None and OVER_RANGE in step.heard:
        answer = step.reading.bands[-1]
    elif result.outcome is not None:
        answer = step.answer(result.outcome) if step.reading is None else None
        if answer is None and result.outcome in step.heard:
            return Known(Trigger.NO_ANSWER, Worded(talk.library.terms.outcomes[result.outcome].spoken))
    if answer is None:
        return UNEXPECTED
    pending = Pending(
        answer, value, unit, source.how, source.words, source.confidence, snr_db, source.clip, judged
    )
    return Known(Trigger.RESULT, pending)


def is_watching(talk: Talk) -> bool:
    """Whether the technician is calling out changes now, in a watched step."""
    return talk.state is State.ASKING and talk.step.watch


def watched(talk: Talk, source: Origin, snr_db: float | None = None) -> Known[Any]:
    """The end of watching: the answer follows from the changes that stand; arguments as for `understand_result`."""
    answer = talk.step.answer(CHANGED if talk.awaited.changes else UNCHANGED)
    if answer is None:
        return UNEXPECTED
    pending = Pending(answer, None, None, source.how, source.words, source.confidence, snr_db, source.clip)
    return Known(Trigger.RESULT, pending)


def judge(talk: Talk, reading: Reading, base: Decimal) -> tuple[Answer | None, Decimal | None]:
    """The answer that a reading is, and what was judged; None for the latter if that is the reading itself.

    Args:
        talk: The session.
        reading: The reading that the step asks for.
        base: The value, in the unit of `reading`.
    """
    found = reading.judge(base, talk.numbers())
    return found.band or reading.unjudged, None if found.value == base else found.value


def all_spelled(talk: Talk) -> Known[Any]:
    """The words "that is all" where a yes or more signs are waited for: all of it is read back once more."""
    waiting = talk.asked.waiting
    assert waiting is not None  # noqa: S101
    return Known(Trigger.FACT, replace(waiting, more=False))


def understand_fact(talk: Talk, result: Result, source: Origin) -> Known[Any]:
    """The meaning of an answer for the fact in question."""
    asked = talk.facts.asked
    if asked is None:
        return UNEXPECTED
    inquiry = asked.inquiry
    if asked.spells:
        if result.signs is None or (talk.state is State.CONFIRMING and not asked.open):
            return UNEXPECTED
        return Known(Trigger.SIGNS, Signs(result.signs, source))
    if inquiry.kind is FactKind.CHOICE:
        if result.outcome not in inquiry.choices:
            return UNEXPECTED
        return Known(Trigger.FACT, Waiting(str(result.outcome), "", source))
    value = result.value
    if value is None and result.signs is not None and result.signs.isdigit():
        value = Decimal(result.signs)
    units = asking.units_of(inquiry)
    unit = result.unit or inquiry.unit
    if value is None or (unit not in units if units else bool(unit)):
        return UNEXPECTED
    problem = asking.problem_with(inquiry, value, unit)
    if problem:
        return Known(Trigger.IMPLAUSIBLE, Worded(problem))
    return Known(Trigger.FACT, Waiting(plain_number(value), unit, source))
