"""Handlers while the session stands by, or after a verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.dialogue import moving
from assistant.core.dialogue.states import State
from assistant.core.values.entries import ModeChanged, VerdictReached
from assistant.core.values.events import Finish, Speech

if TYPE_CHECKING:
    from assistant.core.dialogue.talk import Talk
    from assistant.core.dialogue.triggers import By


def go_ahead(talk: Talk, _: object) -> State:
    """Return from standing by."""
    talk.note(ModeChanged("go ahead", "asked for"))
    talk.work.interrupted = True
    talk.said.message = ""
    return moving.return_to_work(talk)


def go_on(talk: Talk, _: object) -> State:
    """After a verdict: affirm it, then continue with the procedure that follows it, or with one that was set aside.

    Only an explicit request closes a session.
    """
    work = talk.work
    verdict = talk.procedure.verdicts[work.verdict or ""] if work.led_back is None else None
    if verdict is not None and not work.affirmed:
        work.affirmed = True
        talk.note(VerdictReached(talk.procedure.name, verdict.name, affirmed=True))
        return moving.conclude(talk)
    if verdict is not None and verdict.continue_with:
        work.verdict = None
        return moving.hand_over(talk, verdict.continue_with)
    return moving.come_back(talk, work.paused[-1]) if work.paused else moving.conclude(talk)


def correction(talk: Talk, by: By) -> State:
    """Take back the last fact or result."""
    return moving.take_back(talk, by.how, moving.say_where_it_is)


def close(talk: Talk, _: object) -> State:
    """Close the session."""
    talk.say("Session closed. The write-up is ready.", Speech.NOTICE)
    talk.note(ModeChanged("closed", "asked for"))
    talk.do(Finish("verdict" if talk.work.verdict else "closed"))
    return State.FINISHED
