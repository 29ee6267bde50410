"""Handlers while a caution is given: it is spoken to its end, and acknowledged the first time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.dialogue import entering, missing, moving
from assistant.core.values.entries import CautionAcknowledged

if TYPE_CHECKING:
    from assistant.core.dialogue.states import State
    from assistant.core.dialogue.talk import Talk
    from assistant.core.dialogue.triggers import By
    from assistant.core.values.events import GearLost, SpeechFinished


def spoken(talk: Talk, speech: SpeechFinished) -> State:
    """The caution was spoken to its end; one that was cut does not count and is said again."""
    if speech.cut:
        return entering.say_cautions(talk)
    return entering.cautions_given(talk, by="spoken")


def acknowledge(talk: Talk, by: By) -> State:
    """The cautions are acknowledged: the next ones, or the step."""
    names = tuple(name for name, _ in talk.cautions.due)
    talk.cautions.acknowledged.update(names)
    talk.note(CautionAcknowledged(names, *talk.position, by.how))
    return entering.next_cautions(talk)


def say_again(talk: Talk, _: object) -> State:
    """Say the cautions again."""
    return entering.say_cautions(talk)


def correction(talk: Talk, by: By) -> State:
    """Take back the last fact or result."""
    return moving.take_back(talk, by.how, moving.say_where_it_is)


def gear_lost(talk: Talk, lost: GearLost) -> State:
    """Gear is lost: a caution that cannot be spoken any more counts as shown; the next prompt tells of other gear."""
    notice = missing.lose(talk, lost)
    if not notice:
        return entering.cautions_given(talk, by="shown")
    talk.said.owed = notice
    return talk.state
