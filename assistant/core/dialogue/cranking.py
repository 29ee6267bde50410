"""The crank timer, begun by a word, a key or the ear; and cranks that nobody asked for.

What the ear hears only adds to what is known: it starts a timer that nobody started, it lengthens a crank that went on,
and it ends only a crank that nobody but the ear began.  A starter that was not heard is never taken for one at rest.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.dialogue.states import State
from assistant.core.dialogue.talk import CRANK_TIMER, REST_TIMER, STOP_CRANKING
from assistant.core.library.procedure import Engine
from assistant.core.library.vocabulary import SENSES
from assistant.core.values.entries import CrankHeard, CrankKind
from assistant.core.values.events import Speech, StartTimer

if TYPE_CHECKING:
    from assistant.core.dialogue.talk import Talk
    from assistant.core.values.perceived import StarterHeard

LEAST_S = 0.5
"""A crank that went on for less after its end is the delay of ear and word (the ear's own limit is 0.5 s)."""


def begin(talk: Talk, began: float, *, by_ear: float | None = None) -> None:
    """Start the timer of a crank that began at `began`, s since the session began.

    Args:
        talk: The session.
        began: When.
        by_ear: How sure the ear is, if nobody announced it.
    """
    crank = talk.crank
    crank.began, crank.by_ear, crank.counted = began, by_ear, False
    talk.said.message = ""
    talk.gear.meter.forget()
    crank.longest_s = crank.starter.longest(talk.starter_limits(), began)
    _start_timer(talk)


def begun_earlier(talk: Talk, heard: StarterHeard) -> None:
    """The ear tells that the present crank began earlier than was announced: the limit counts from then."""
    crank = talk.crank
    began = max(heard.happened, crank.starter.ended)
    if crank.began is not None and began < crank.began:
        crank.began = began
        _start_timer(talk)


def _start_timer(talk: Talk) -> None:
    crank = talk.crank
    gone = talk.now.at - crank.began if crank.began is not None else 0.0
    talk.do(StartTimer(CRANK_TIMER, max(0.0, crank.longest_s - gone)))


def ended_by_ear(talk: Talk, heard: StarterHeard) -> bool:
    """The ear hears the end: it ends only a crank that the ear began; whether it did."""
    crank = talk.crank
    if crank.began is None:
        count_turning(talk, heard.happened, heard.confidence)
        return False
    if crank.by_ear is None:  # announced: the limit goes on to count until somebody answers
        return False
    crank.turning = None
    talk.stop_crank(timed=True, ended=max(crank.began, heard.happened))
    return True


def count_turning(talk: Talk, until: float, confidence: float) -> None:
    """Count what the ear heard of a crank beside the one of the step, or after its end, in the starter's budget.

    Args:
        talk: The session.
        until: When it ended, s since the session began.
        confidence: How sure the ear is.
    """
    crank, limits = talk.crank, talk.starter_limits()
    since, crank.turning = crank.turning, None
    if since is None:
        return
    longer = since < crank.starter.ended
    seconds = round(min(until - max(since, crank.starter.ended), limits.longest_s), 1)
    if seconds < LEAST_S:
        return
    what = CrankKind.LONGER if longer else CrankKind.UNASKED
    talk.note(CrankHeard(seconds, True, *talk.position, confidence=confidence, what=what))
    crank.starter = crank.starter.cranked(limits, seconds, until)
    if talk.state is State.RESTING:
        talk.do(StartTimer(REST_TIMER, max(0.0, talk.wait_s())))


def at_leads(talk: Talk) -> bool:
    """Whether hands may be at leads or parts that a turning engine endangers: an instrument is in use at rest."""
    measure = talk.step.measure
    return measure.instrument not in SENSES and measure.engine in (Engine.KEY_OFF, Engine.KEY_ON)


def order_stop(talk: Talk, more: str = "") -> None:
    """Say "Stop cranking."; "say again" still repeats what was asked."""
    prompt = talk.said.prompt
    talk.remark("cranking heard", talk.state.value)
    talk.say(f"{STOP_CRANKING} {more}".strip(), Speech.STOP, can_be_cut=False)
    talk.said.message = STOP_CRANKING
    talk.said.prompt = prompt
