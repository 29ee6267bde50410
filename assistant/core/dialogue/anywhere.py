"""Handlers that many states share, and the rows that every open state has."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.dialogue import answering, cautioning, entering, missing, moving, weighing
from assistant.core.dialogue.cells import Cell, only, row
from assistant.core.dialogue.inquiring import TYPED
from assistant.core.dialogue.memory import Cautions
from assistant.core.dialogue.policy import tapered
from assistant.core.dialogue.showing import help_here
from assistant.core.dialogue.states import RETURNS, State
from assistant.core.dialogue.talk import STOP_CRANKING
from assistant.core.dialogue.triggers import Trigger
from assistant.core.values.entries import FactGiven, ModeChanged
from assistant.core.values.events import CutSpeech, EndNote, Finish, Speech

if TYPE_CHECKING:
    from assistant.core.dialogue.talk import Talk
    from assistant.core.dialogue.triggers import By
    from assistant.core.values.events import (
        Began,
        Closed,
        GearBack,
        GearLost,
        LevelChanged,
        NoiseChanged,
        NoMatch,
        NoteRecorded,
        Resumed,
    )

# --- the session ----------------------------------------------------------------------------------


def begin(talk: Talk, began: Began) -> State:
    """The session begins with a procedure, and with facts that were typed.

    Raises:
        UsageProblem: The procedure is not in the library.
    """
    name = talk.library.procedure(began.procedure).name
    missing.leave_out(talk, began.left_out)
    talk.gear.witnesses = frozenset(began.witnesses)
    talk.cautions.told = began.told
    for typed in began.facts:
        if typed.fact in talk.library.terms.facts and typed.value:
            given = FactGiven(typed.fact, typed.value, typed.unit, TYPED, typed.value, 1.0, TYPED, None)
            talk.facts.given[typed.fact] = given
            talk.note(given)
            cautioning.signed_in(talk, given)
    return entering.enter_procedure(talk, name, came_from=None, titled=False)


def resume(talk: Talk, resumed: Resumed) -> State:
    """An interrupted session goes on: the step and its caution are spoken again."""
    talk.note(ModeChanged("resumed", "the session was interrupted"))
    told = talk.cautions
    talk.cautions = Cautions(told=told.told, today=told.today)
    talk.said.owed = ""
    talk.gear.all_back()  # what is lost now will be reported again
    missing.leave_out(talk, resumed.left_out)
    talk.gear.witnesses = frozenset(resumed.witnesses)
    talk.crank.turning = None
    cranking = talk.crank.began is not None
    if cranking:  # nobody knows how long it lasted
        talk.crank.began = None
        talk.crank.counted = False
        talk.stop_crank(timed=False, lost=True)
    talk.awaited.note_running = False
    talk.awaited.pending = None
    talk.work.interrupted = True
    talk.said.prefix = f"{STOP_CRANKING} Key off. Session resumed." if cranking else "Session resumed."
    return moving.return_to_work(talk)


def end(talk: Talk, closed: Closed) -> State:
    """The session is closed from outside."""
    talk.stop_crank(timed=True)
    if talk.awaited.note_running:
        talk.do(EndNote())
    talk.do(CutSpeech())
    talk.note(ModeChanged("closed", closed.why))
    talk.do(Finish("verdict" if talk.work.verdict else "unfinished"))
    return State.FINISHED


def stop(talk: Talk, _: object) -> State:
    """Stop at once."""
    return moving.stop(talk)


def stand_by(talk: Talk, _: object) -> State:
    """Stand by until the person goes ahead."""
    return moving.stand_by(talk)


def ask_to_close(talk: Talk, by: By) -> State:
    """Close the session if the person asks once more."""
    return moving.ask_to_close(talk, by.how)


# --- nothing useful came --------------------------------------------------------------------------


def not_understood(talk: Talk, heard: NoMatch) -> State:
    """Ask the person to say it again, each time with more help."""
    return answering.not_understood(talk, heard, "Say again.", f"Say again: {help_here(talk)[0]}")


def talk_beside(talk: Talk, heard: NoMatch) -> State:
    """Ignore talk that is not meant for the session."""
    talk.remark("not understood", heard.words)
    return talk.state


def nothing_came(talk: Talk, _: object) -> State:
    """Repeat the question twice; then be quiet."""
    return _remind(talk, patience=2)


def nothing_came_at_rest(talk: Talk, _: object) -> State:
    """Repeat once how to continue; then be quiet."""
    return _remind(talk, patience=1)


def nothing_came_in_action(talk: Talk, _: object) -> State:
    """Nobody can answer while the engine turns."""
    talk.awaited.counters.no_input += 1
    return talk.state


def _remind(talk: Talk, patience: int) -> State:
    counters = talk.awaited.counters
    counters.no_input += 1
    if counters.no_input > patience:  # someone is busy: stay ready, be quiet
        talk.said.message = "Waiting."
        return talk.state
    short, keys = help_here(talk)
    more = keys if talk.voice_off else f"{short} Or use the keys. {keys}"
    talk.say(tapered({1: short, 2: more}, counters.no_input), Speech.HELP)
    return talk.state


# --- asking the dialogue --------------------------------------------------------------------------


def say_again(talk: Talk, _: object) -> State:
    """Say the last prompt again."""
    talk.say(talk.said.prompt, Speech.PROMPT)
    return talk.state


def choices(talk: Talk, _: object) -> State:
    """Say the words and keys that count now."""
    talk.say(" ".join(filter(None, dict.fromkeys(help_here(talk)))), Speech.HELP)
    return talk.state


def why(talk: Talk, _: object) -> State:
    """Name the likeliest fault and the reasons."""
    talk.say(weighing.why(talk), Speech.HELP)
    return talk.state


# --- noise, gear, a late note ---------------------------------------------------------------------


def too_loud(talk: Talk, noise: NoiseChanged) -> State:
    """It is too loud to hear: name the keys."""
    if missing.grow_loud(talk, noise):
        talk.say(f"{missing.TOO_LOUD} {help_here(talk)[1]}", Speech.NOTICE)
    return talk.state


def too_loud_untold(talk: Talk, noise: NoiseChanged) -> State:
    """It is too loud to hear: the next prompt begins with that."""
    if missing.grow_loud(talk, noise):
        talk.said.owed = missing.TOO_LOUD
    return talk.state


def quiet_again(talk: Talk, noise: NoiseChanged) -> State:
    """It is quiet enough again: say so."""
    if missing.grow_quiet(talk, noise):
        talk.say("I can hear you again.", Speech.NOTICE)
    return talk.state


def quiet_again_untold(talk: Talk, noise: NoiseChanged) -> State:
    """It is quiet enough again: the next prompt shows it."""
    missing.grow_quiet(talk, noise)
    return talk.state


def level_changed(talk: Talk, level: LevelChanged) -> State:
    """The microphone's level is bad, or good again: the board shows it, and the next prompt begins with it."""
    missing.change_level(talk, level)
    return talk.state


def gear_lost(talk: Talk, lost: GearLost) -> State:
    """Gear is lost: name it and, for the microphone, the keys."""
    notice = missing.lose(talk, lost)
    if notice:
        more = help_here(talk)[1] if lost.gear == "microphone" else ""
        talk.say(f"{notice} {more}".strip(), Speech.NOTICE)
        if lost.gear in missing.RECORD_NOTICES:
            talk.said.message = lost.why  # with the place, even if nothing can be spoken
    return talk.state


def gear_lost_untold(talk: Talk, lost: GearLost) -> State:
    """Gear is lost: the next prompt begins with that."""
    notice = missing.lose(talk, lost)
    if notice:
        talk.said.owed = notice
    return talk.state


def gear_back(talk: Talk, back: GearBack) -> State:
    """Gear works again: say so."""
    talk.say(missing.find(talk, back), Speech.NOTICE)
    return talk.state


def gear_back_untold(talk: Talk, back: GearBack) -> State:
    """Gear works again: the screen shows it."""
    missing.find(talk, back)
    return talk.state


def late_note(talk: Talk, note: NoteRecorded) -> State:
    """A voice note has ended after something else began."""
    moving.keep_note(talk, note)
    return talk.state


EVERYWHERE = row(
    Cell(Trigger.STOP, stop, only(State.STANDING_BY)),
    Cell(Trigger.STAND_BY, stand_by, only(State.STANDING_BY)),
    Cell(Trigger.NOTE_ENDED, late_note),
    Cell(Trigger.TOO_LOUD, too_loud),
    Cell(Trigger.QUIET_AGAIN, quiet_again),
    Cell(Trigger.LEVEL_CHANGED, level_changed),
    Cell(Trigger.GEAR_LOST, gear_lost),
    Cell(Trigger.GEAR_BACK, gear_back),
    Cell(Trigger.RESUME, resume, RETURNS),
    Cell(Trigger.END, end, only(State.FINISHED)),
)
"""The cells that every state of an open session has."""

UNDISTURBED = row(
    Cell(Trigger.TOO_LOUD, too_loud_untold),
    Cell(Trigger.QUIET_AGAIN, quiet_again_untold),
    Cell(Trigger.GEAR_LOST, gear_lost_untold),
    Cell(Trigger.GEAR_BACK, gear_back_untold),
    over=EVERYWHERE,
)
"""The same for states in which no notice may interrupt."""
