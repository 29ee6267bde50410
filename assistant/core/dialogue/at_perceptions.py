"""Handlers of what was perceived: the starter by ear, proposals, and readings on a meter.

Nothing here takes an answer.  A crank that was heard starts the timer only at a step that cranks and was released;
anywhere else it is counted, and stopped where it may hurt somebody.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.dialogue import cranking, entering
from assistant.core.dialogue.entering import METER
from assistant.core.dialogue.perceiving import runs
from assistant.core.dialogue.showing import help_here
from assistant.core.dialogue.states import State
from assistant.core.dialogue.talk import LET_GO, STOP_CRANKING
from assistant.core.library.vocabulary import FIRED
from assistant.core.values.entries import ModeChanged
from assistant.core.values.events import Speech
from assistant.core.values.perceived import CrankSound, MeterState
from assistant.core.values.witness import Witness
from assistant.core.words import perceiving as words

if TYPE_CHECKING:
    from assistant.core.dialogue.talk import Talk
    from assistant.core.dialogue.trail import Pending
    from assistant.core.dialogue.triggers import By, Worded
    from assistant.core.values.perceived import MeterTold, Perceived, StarterHeard

# --- the starter ----------------------------------------------------------------------------------


def crank_heard(talk: Talk, heard: StarterHeard) -> State:
    """The engine turns at a step that cranks: time it from when it began, as "cranking now" would."""
    talk.end_rest()
    talk.crank.turning = heard.happened
    cranking.begin(talk, max(heard.happened, talk.crank.starter.ended), by_ear=heard.confidence)
    return State.CRANKING


def crank_heard_too(talk: Talk, heard: StarterHeard) -> State:
    """The ear hears the crank that runs already: the limit counts from the earlier begin."""
    talk.crank.turning = heard.happened
    cranking.begun_earlier(talk, heard)
    return talk.state


def announced_after_all(talk: Talk, _: By) -> State:
    """The crank that the ear began is announced, too: from now on the ear does not end it."""
    talk.remark("cranking", "announced after it was heard")
    talk.crank.by_ear = None
    return talk.state


def crank_sound(talk: Talk, heard: StarterHeard) -> State:
    """Somebody cranks and no step asked for it: count it, and stop it if hands may be at the leads."""
    talk.crank.turning = heard.happened
    if talk.state in (State.ASKING, State.READING_BACK, State.SKIPPING) and cranking.at_leads(talk):
        cranking.order_stop(talk)
    else:
        talk.remark("cranking heard", talk.state.value)
        talk.said.message = words.CRANKING_HEARD
    return talk.state


def crank_sound_at_cautions(talk: Talk, heard: StarterHeard) -> State:
    """Somebody cranks before the cautions were spoken to their end: stop it, and speak them anew."""
    talk.crank.turning = heard.happened
    talk.remark("cranking heard", talk.state.value)
    talk.said.prefix = STOP_CRANKING
    return entering.say_cautions(talk)


def crank_sound_before_ready(talk: Talk, heard: StarterHeard) -> State:
    """Somebody cranks before the cautions were acknowledged: stop it; that is no "ready"."""
    talk.crank.turning = heard.happened
    cranking.order_stop(talk, help_here(talk)[bool(talk.gear.deaf)])
    return talk.state


def crank_sound_at_rest(talk: Talk, heard: StarterHeard) -> State:
    """Somebody cranks before the starter has rested: stop it, and count it."""
    talk.crank.turning = heard.happened
    cranking.order_stop(talk, f"{talk.rest_words()}.")
    return talk.state


def perhaps_cranking(talk: Talk, heard: StarterHeard) -> State:
    """It may be a starter: show that until it ends, and nothing else."""
    talk.said.message = words.PERHAPS_CRANKING if heard.phase is CrankSound.BEGINS else ""
    return talk.state


def crank_ends(talk: Talk, heard: StarterHeard) -> State:
    """The starter stops, at no step that times it: count what is not counted yet."""
    cranking.ended_by_ear(talk, heard)
    if talk.said.message == words.CRANKING_HEARD:
        talk.said.message = ""
    return talk.state


def crank_ends_in_time(talk: Talk, heard: StarterHeard) -> State:
    """The starter stops while it is timed: a crank that the ear began has ended, an announced one goes on."""
    began = talk.crank.began
    if cranking.ended_by_ear(talk, heard) and began is not None:
        talk.said.message = words.cranked(talk.crank.starter.ended - began)
        return State.ASKING
    return State.CRANKING


def limit_at_read_back(talk: Talk, _: object) -> State:
    """The engine still turns while a proposal is read back, as long as it may: stop it, and ask again."""
    pending, prompt = talk.awaited.pending, talk.said.prompt
    fired = pending is not None and pending.answer.outcome in FIRED
    talk.stop_crank(timed=True, fired=None if fired else False)
    stop = LET_GO if fired else STOP_CRANKING
    talk.say(f"{stop} {prompt}", Speech.READ_BACK)
    talk.said.prompt = prompt
    talk.said.message = stop
    return talk.state


# --- proposals ------------------------------------------------------------------------------------


def engine_runs(talk: Talk, heard: StarterHeard) -> State:
    """It sounds as if the engine runs: propose that where the engine is meant to start, else show it."""
    pending = runs(talk, heard)
    if pending is None:
        talk.said.message = words.RUNNING_HEARD
        return talk.state
    return proposed(talk, pending)


def runs_untold(talk: Talk, _: StarterHeard) -> State:
    """It sounds as if the engine runs, and nobody asks: show it."""
    talk.said.message = words.RUNNING_HEARD
    return talk.state


def proposed(talk: Talk, pending: Pending) -> State:
    """It sounds like an answer of the step: read it back and wait for a yes.

    A crank that is timed goes on to be timed until somebody answers; but a clamp has seen enough of it.
    """
    assert pending.seen is not None  # noqa: S101
    if talk.crank.began is None:
        talk.stop_crank(timed=False, fired=pending.answer.outcome in FIRED)
    talk.awaited.pending = pending
    talk.said.typed = talk.said.prefix = talk.said.message = ""
    text = words.sounds_like(talk.library, talk.step, pending.seen)
    if pending.seen.source is Witness.CLAMP and talk.crank.began is not None:
        talk.stop_crank(timed=True, fired=False)
        text = f"{STOP_CRANKING} {text}"
    return entering.read_back(talk, text)


def shown_proposal(talk: Talk, pending: Pending) -> State:
    """It sounds like an answer, but something else is asked: show it."""
    return talk.state if pending.seen is None else sounds(talk, pending.seen)


def sounds(talk: Talk, seen: Perceived) -> State:
    """Something was heard that no question here asks for: show it."""
    shown = words.heard_as(talk.library, seen)
    talk.said.message = shown or talk.said.message
    return talk.state


# --- the meter ------------------------------------------------------------------------------------


def stands(talk: Talk, seen: Perceived) -> State:
    """A reading stands on the meter: show it until it is taken."""
    meter = talk.gear.meter
    meter.reading, meter.state, meter.why = seen, MeterState.GOOD, ""
    talk.said.message = ""
    return talk.state


def stands_wrong(talk: Talk, number: Worded) -> State:
    """What stands on the meter cannot be the reading that is asked for: show why."""
    talk.gear.meter.reading = None
    talk.said.message = words.out_of_place(number.text)
    return talk.state


def unasked(talk: Talk, _: object) -> State:
    """A reading that no question asks for."""
    return talk.state


def nothing_to_take(talk: Talk, _: By) -> State:
    """Nothing stands on the meter that could be taken: say why."""
    meter = talk.gear.meter
    wrong = meter.state is MeterState.WRONG_FUNCTION and meter.why
    lost = METER in talk.gear.lost or not talk.gear.witnesses
    talk.say(wrong or (words.NO_METER if lost else words.NOTHING_STEADY), Speech.HELP)
    return talk.state


def meter_told(talk: Talk, told: MeterTold) -> State:
    """The meter's state has changed: say what somebody can mend."""
    notice = _changed(talk, told)
    if notice:
        talk.say(notice, Speech.NOTICE)
    return talk.state


def meter_told_unsaid(talk: Talk, told: MeterTold) -> State:
    """The meter's state has changed while nothing may interrupt: the screen shows it."""
    notice = _changed(talk, told)
    talk.said.message = notice or talk.said.message
    return talk.state


def _changed(talk: Talk, told: MeterTold) -> str:
    """Note the meter's state; returns the notice to give, "" for none."""
    meter, lost = talk.gear.meter, talk.gear.lost
    before, meter.reading = (meter.state, meter.why), None
    meter.state, meter.why = told.trouble, told.why
    match told.trouble:
        case MeterState.UNSTEADY:
            return ""
        case MeterState.GOOD:
            if lost.pop(METER, None) is None:
                return ""
            talk.note(ModeChanged("meter back", "it works again"))
            return words.METER_BACK
        case MeterState.WRONG_FUNCTION:
            if before == (told.trouble, told.why):
                return ""
            talk.remark("wrong function", told.why)
            return told.why
        case MeterState.SILENT | MeterState.GONE:
            told_before = METER in lost
            lost[METER] = told.why
            talk.note(ModeChanged(f"meter {told.trouble}", told.why))
            return "" if told_before else words.METER_LOST[told.trouble]
