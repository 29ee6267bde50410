"""Handlers while the dialogue asks for a reason to skip, or for another test."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.dialogue import entering, keeping, moving
from assistant.core.dialogue.memory import Counters
from assistant.core.dialogue.sayable import REASONS
from assistant.core.dialogue.states import State
from assistant.core.values.entries import StepSkipped
from assistant.core.values.events import CutSpeech, Speech
from assistant.core.words import instructing, remarking

if TYPE_CHECKING:
    from assistant.core.dialogue.talk import Talk
    from assistant.core.dialogue.triggers import Named

# --- skipping -------------------------------------------------------------------------------------


def skip(talk: Talk, _: object) -> State:
    """Ask for the reason to skip the step, if it may be skipped."""
    if talk.step.if_skipped is None:
        talk.remark("cannot skip", "")
        talk.said.message = "You can't skip this one."
        talk.say("You can't skip this one. Do it, or stand by.", Speech.HELP)
        return talk.state
    talk.end_rest()
    talk.say(f"Why skip it? {instructing.numbered(REASONS.values())}", Speech.PROMPT)
    return State.SKIPPING


def reason(talk: Talk, chosen: Named) -> State:
    """The step is skipped for this reason."""
    step, skipped = talk.step, REASONS[chosen.name]
    target = step.if_skipped
    assert target is not None  # noqa: S101
    talk.note(StepSkipped(talk.procedure.name, step.name, skipped, str(target)))
    keeping.leave_step(talk, 0, None)
    talk.said.prefix = f"Skipped, {skipped}."
    return moving.go(talk, target)


def not_skipped(talk: Talk, _: object) -> State:
    """The step is not skipped after all."""
    return moving.return_to_work(talk)


# --- another test ---------------------------------------------------------------------------------


def other_test(talk: Talk, _: object) -> State:
    """Ask for the other test."""
    talk.awaited.chosen_from = talk.state
    talk.end_rest()
    talk.said.typed = ""
    talk.awaited.counters = Counters()
    number = f" Keys: number, then Enter. {_numbered(talk)}" if talk.gear.deaf else ""
    talk.say(f"Which test? Say its name, or key its number.{number}", Speech.PROMPT)
    return State.CHOOSING


def choices(talk: Talk, _: object) -> State:
    """Say all tests with their numbers."""
    talk.say(_numbered(talk), Speech.HELP)
    return talk.state


def _numbered(talk: Talk) -> str:
    return instructing.numbered(remarking.procedure_short(name) for name in talk.library.procedures)


def typed(talk: Talk, key: Named) -> State:
    """A digit of the number of a test."""
    said = talk.said
    said.typed = said.typed[:-1] if key.name == "erase" else (said.typed + key.name)[-2:]
    said.message = ""
    talk.do(CutSpeech())
    return State.CHOOSING


def not_chosen(talk: Talk, _: object) -> State:
    """No other test after all: go back to the place of the request."""
    talk.said.typed = ""
    if talk.awaited.chosen_from is State.STANDING_BY:
        talk.say(moving.STANDING_BY, Speech.NOTICE)
        return State.STANDING_BY
    return moving.return_to_work(talk)


def chosen(talk: Talk, procedure: Named) -> State:
    """Set the present procedure aside, unless it has ended, and start or continue another."""
    name = procedure.name
    talk.said.typed = talk.said.message = ""
    if name == talk.procedure.name and not talk.work.concluded:
        talk.said.prefix = "You're in that test now."
        talk.work.interrupted = True
        return moving.return_to_work(talk)
    aside = moving.set_aside(talk)
    waiting = next((paused for paused in talk.work.paused if paused.procedure == name), None)
    if waiting is not None:
        return moving.come_back(talk, waiting, aside)
    talk.work.paused = (*talk.work.paused, *aside)
    return entering.enter_procedure(talk, name, came_from=None)
