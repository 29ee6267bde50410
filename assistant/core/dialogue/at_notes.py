"""Handlers before, during and after a voice note."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.dialogue import entering, missing, moving
from assistant.core.dialogue.entering import Ask
from assistant.core.dialogue.states import State
from assistant.core.values.events import EndNote, RecordNote, Speech

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.core.dialogue.talk import Talk
    from assistant.core.values.events import GearLost, NoteRecorded, SpeechFinished


def note(talk: Talk, _: object) -> State:
    """The person asks for a voice note: announce it, if there is a microphone."""
    if "microphone" in talk.gear.deaf:
        talk.say("No microphone. I can't take a note.", Speech.HELP)
        return talk.state
    talk.awaited.note_from = talk.state
    talk.awaited.note_running = False
    talk.end_rest()
    talk.say("Recording. Press Enter when done.", Speech.NOTICE)
    return State.NOTING


def spoken(talk: Talk, _speech: SpeechFinished) -> State:
    """The announcement has been spoken: record the note."""
    talk.awaited.note_running = True
    talk.do(RecordNote(talk.limits.note_s))
    return State.NOTING


def end_note(talk: Talk, _: object) -> State:
    """End the note now."""
    if talk.awaited.note_running:
        talk.do(EndNote())
    return State.NOTING


def note_ended(talk: Talk, recorded: NoteRecorded) -> State:
    """The note is stored: go back to the place of the request."""
    moving.keep_note(talk, recorded)
    talk.said.prefix = "Note saved."
    return _back(talk)


def gear_lost(talk: Talk, lost: GearLost) -> State:
    """Gear is lost: without a microphone the note ends; the next prompt tells of other gear."""
    notice = missing.lose(talk, lost)
    if lost.gear == "microphone":
        talk.awaited.note_running = False
        talk.said.prefix = "No microphone. The note is lost. Use the keys."
        return _back(talk)
    if notice:
        talk.said.owed = notice
    return talk.state


def _back(talk: Talk) -> State:
    """Go back to the place of the request for the note."""
    return _RETURNS.get(talk.awaited.note_from, _to_question)(talk)


def _to_standing_by(talk: Talk) -> State:
    talk.say(f"{talk.said.take_prefix()} Standing by.", Speech.NOTICE)
    return State.STANDING_BY


def _to_question(talk: Talk) -> State:
    if talk.facts.asked is not None:
        return moving.return_to_work(talk)
    return entering.ask(talk, Ask.QUESTION)


_RETURNS: dict[State, Callable[[Talk], State]] = {
    State.STANDING_BY: _to_standing_by,
    State.RESTING: entering.release,
    State.CONCLUDING: moving.return_to_work,
}
