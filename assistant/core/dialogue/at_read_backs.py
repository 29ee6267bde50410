"""Handlers while a result is read back, or an earlier one is offered, and waits for a yes.

At an offer only yes and no count: the step itself has not been released, so any other answer was not measured now.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.core.dialogue import answering, entering, moving
from assistant.core.dialogue.entering import Ask
from assistant.core.dialogue.policy import Acceptance
from assistant.core.dialogue.states import State
from assistant.core.dialogue.talk import STOP_CRANKING
from assistant.core.dialogue.triggers import Trigger
from assistant.core.library.vocabulary import FIRED
from assistant.core.values.events import CutSpeech, Speech
from assistant.core.words import instructing

if TYPE_CHECKING:
    from assistant.core.dialogue.talk import Talk
    from assistant.core.dialogue.trail import Pending
    from assistant.core.dialogue.triggers import Meaning, Named, Worded


def affirm(talk: Talk, _: object) -> State:
    """Yes: the result counts."""
    pending = talk.awaited.pending
    assert pending is not None  # noqa: S101
    talk.awaited.pending = None
    talk.said.prefix = _still_turning(talk, fired=pending.answer.outcome in FIRED)
    return moving.commit(talk, pending, Acceptance.AFFIRM)


def deny(talk: Talk, _: object) -> State:
    """No: ask the question again, or measure instead of taking the offered result."""
    talk.remark("read-back denied", talk.said.heard)
    denied, talk.awaited.pending = talk.awaited.pending, None
    if talk.awaited.offered:
        talk.past.forget_aside(talk.step.measure)
        return entering.cautions_due(talk, offer=False)
    talk.said.heard = ""
    talk.said.prefix = "Scratch that."
    if talk.crank.began is not None:  # it is still timed: what was proposed was not right
        entering.ask(talk, Ask.QUESTION)
        return State.CRANKING
    reading, misheard = talk.step.reading, denied is not None and denied.how == "voice"
    if reading is not None and misheard and talk.limits.asks_for_digits and not talk.gear.deaf:
        talk.awaited.counters.digits = True
        talk.said.add_prefix(instructing.digits_wanted(reading.unit))
    return entering.ask(talk, Ask.QUESTION)


def result(talk: Talk, pending: Pending) -> State:
    """Another answer instead: read it back."""
    if talk.awaited.offered:
        return _only_yes_or_no(talk, Trigger.RESULT)
    stop = _still_turning(talk, fired=pending.answer.outcome in FIRED)
    spoken = " ".join(filter(None, (stop, answering.understood(talk, pending))))
    talk.awaited.pending = pending
    talk.said.prefix = ""
    return entering.read_back(talk, spoken)


def wrong_place(talk: Talk, place: Named) -> State:
    """An answer for another place: the read-back stands."""
    if talk.awaited.offered:
        return _only_yes_or_no(talk, Trigger.WRONG_PLACE)
    return answering.wrong_place(talk, place, talk.said.prompt)


def no_answer(talk: Talk, answer: Worded) -> State:
    """The step has no such answer: the read-back stands."""
    if talk.awaited.offered:
        return _only_yes_or_no(talk, Trigger.NO_ANSWER)
    return answering.no_answer(talk, answer, talk.said.prompt)


def implausible(talk: Talk, number: Worded) -> State:
    """The number cannot be a reading: the read-back stands."""
    if talk.awaited.offered:
        return _only_yes_or_no(talk, Trigger.IMPLAUSIBLE)
    return answering.implausible(talk, number)


def typed(talk: Talk, key: Named) -> State:
    """The first key of another number."""
    if talk.awaited.offered:
        return _only_yes_or_no(talk, Trigger.TYPED)
    talk.awaited.pending = None
    talk.said.typed = ""
    talk.do(CutSpeech())
    talk.said.prompt = instructing.question(talk.library, talk.step)
    answering.type_number(talk, key)
    return State.ASKING if talk.crank.began is None else State.CRANKING


def _still_turning(talk: Talk, *, fired: bool) -> str:
    """Somebody answers while the engine still turns behind a proposal: the crank ends; returns the order to give."""
    if talk.crank.began is None:
        return ""
    talk.stop_crank(timed=True, fired=fired)
    return "" if fired else STOP_CRANKING


def _only_yes_or_no(talk: Talk, trigger: Meaning[Any]) -> State:
    talk.remark("not now", f"{trigger} at an earlier result")
    talk.say("Keep it? Yes or no?", Speech.HELP)
    return talk.state
