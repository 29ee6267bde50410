"""Handlers while a step is asked, the engine cranks for it, or the starter rests before it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.dialogue import answering, cranking, entering, moving, weighing
from assistant.core.dialogue.entering import Ask
from assistant.core.dialogue.perceiving import HELD
from assistant.core.dialogue.policy import Acceptance, costs_a_step, grade
from assistant.core.dialogue.showing import help_here
from assistant.core.dialogue.states import State
from assistant.core.dialogue.talk import LET_GO, REST_TIMER, STOP_CRANKING
from assistant.core.library.procedure import Engine
from assistant.core.library.vocabulary import FIRED
from assistant.core.values.answer_kind import AnswerKind
from assistant.core.values.entries import ModeChanged
from assistant.core.values.events import CancelTimer, CutSpeech, Speech, StartTimer
from assistant.core.words import instructing

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.core.dialogue.talk import Talk
    from assistant.core.dialogue.trail import Pending
    from assistant.core.dialogue.triggers import By, Named, Worded
    from assistant.core.values.events import NoMatch

LONGEST_WORDS_S = 15.0
"""How long the words of a rest are waited for when it is over, if nobody tells that they were spoken."""

# --- answers --------------------------------------------------------------------------------------


def result(talk: Talk, pending: Pending) -> State:
    """An answer: it counts, is read back with the next step, or waits for a yes."""
    return _graded(talk, pending, cranking=False)


def result_while_cranking(talk: Talk, pending: Pending) -> State:
    """An answer while the engine turns: order the helper to stop cranking first."""
    return _graded(talk, pending, cranking=True)


def _graded(talk: Talk, pending: Pending, *, cranking: bool) -> State:
    fired = pending.answer.outcome in FIRED
    if pending.by == HELD:  # it still stands on the meter, so the next step must not take it for its own
        talk.gear.meter.reading = pending.seen
    if talk.step.measure.engine is Engine.CRANKING:
        talk.stop_crank(timed=cranking, fired=fired)
    stop = STOP_CRANKING if cranking and not fired else ""
    acceptance = _acceptance(talk, pending)
    answer = answering.understood(talk, pending)
    if acceptance is Acceptance.READ_BACK and pending.seen is not None:
        answer = answering.taken_as(talk, pending)
    spoken = " ".join(filter(None, (stop, answer)))
    if acceptance is Acceptance.AFFIRM:
        talk.awaited.pending = pending
        talk.said.prefix = ""
        return entering.read_back(talk, spoken)
    talk.said.prefix = spoken if acceptance is Acceptance.READ_BACK else stop
    return moving.commit(talk, pending, acceptance)


def _acceptance(talk: Talk, pending: Pending) -> Acceptance:
    """The confirmation that an answer needs; the word that takes a reading of the meter may be enough.

    It must be heard as well as the yes that it replaces.  A reading that was reckoned with needs a yes, and so does one
    that does not fit the results before.
    """
    seen, limits = pending.seen, talk.limits
    if seen is None or pending.judged is not None or not limits.one_word:
        return grade(talk.step, pending.answer, pending.confidence, limits)
    taken = pending.by != HELD and pending.sure >= limits.of(AnswerKind.AFFIRM).sure_from
    before = talk.gear.meter.before
    if (
        taken
        and costs_a_step(talk.step, pending.answer, seen, before)
        and not weighing.doubted(talk, pending)
    ):
        return Acceptance.READ_BACK
    return Acceptance.AFFIRM


def result_at_rest(talk: Talk, pending: Pending) -> State:
    """An answer while the starter rests, from the last crank or from one that nobody announced: it counts."""
    talk.end_rest()
    return _graded(talk, pending, cranking=False)


def wrong_place(talk: Talk, place: Named) -> State:
    """The answer names another place: ask again."""
    return answering.wrong_place(talk, place, instructing.question(talk.library, talk.step))


def no_answer(talk: Talk, answer: Worded) -> State:
    """The step has no such answer: ask again."""
    return answering.no_answer(talk, answer, instructing.question(talk.library, talk.step))


def implausible(talk: Talk, number: Worded) -> State:
    """The number cannot be a reading: measure again."""
    return answering.implausible(talk, number)


def wrong_place_while_cranking(talk: Talk, place: Named) -> State:
    """The answer names another place: the look is over, so the cranking is, too."""
    return _seen(talk, lambda: wrong_place(talk, place))


def no_answer_while_cranking(talk: Talk, answer: Worded) -> State:
    """The step has no such answer: the look is over, so the cranking is, too."""
    return _seen(talk, lambda: no_answer(talk, answer))


def implausible_while_cranking(talk: Talk, number: Worded) -> State:
    """The number cannot be a reading: the cranking ends, and it is measured again."""
    return _seen(talk, lambda: implausible(talk, number))


def _seen(talk: Talk, refuse: Callable[[], State]) -> State:
    """Stop cranking, since somebody has looked, and say why the answer does not count; it may be given again."""
    if not talk.limits.paced:
        return refuse()
    talk.stop_crank(timed=True, fired=None if talk.step.starts_engine else False)
    if not talk.step.starts_engine:
        talk.said.prefix = STOP_CRANKING
    refuse()
    return State.ASKING


def typed(talk: Talk, key: Named) -> State:
    """One more key of a number, which cuts the speech."""
    answering.type_number(talk, key)
    talk.do(CutSpeech())
    return talk.state


def typed_while_cranking(talk: Talk, key: Named) -> State:
    """One more key of a number, without speech to cut."""
    answering.type_number(talk, key)
    return talk.state


def not_sure(talk: Talk, _: object) -> State:
    """Say what to look for, and ask again."""
    return _look_for(talk, cranking=False)


def not_sure_while_cranking(talk: Talk, _: object) -> State:
    """Stop cranking, say what to look for, and ask again."""
    return _look_for(talk, cranking=True)


def _look_for(talk: Talk, *, cranking: bool) -> State:
    step, counters = talk.step, talk.awaited.counters
    counters.not_sure += 1
    talk.said.typed = ""
    talk.remark("not sure", talk.said.heard)
    talk.stop_crank(timed=cranking)
    parts = [STOP_CRANKING] if cranking and not step.starts_engine else []
    parts.append(step.look_for or "Repeat the test.")
    if counters.not_sure > 1:
        more = "Or skip it, or stand by and get another tool."
        parts.append(more if step.if_skipped else "Or stand by.")
    talk.crank.counted = False
    if talk.must_rest():
        parts.append(f"{talk.rest_words()} before you crank again.")
    parts.append(instructing.question(talk.library, step))
    talk.say(" ".join(parts), Speech.HELP)
    return State.ASKING


def not_understood(talk: Talk, heard: NoMatch) -> State:
    """Ask for an answer again, each time with more help; for a reading, ask for its digits."""
    reading = talk.step.reading
    if reading is None or talk.gear.deaf or not talk.limits.asks_for_digits:
        return answering.not_understood(talk, heard, "Say again.", f"Say again: {help_here(talk)[0]}")
    talk.awaited.counters.digits = True
    digits = instructing.digits_wanted(reading.unit)
    return answering.not_understood(talk, heard, digits, f"{digits} Or use the keys. {help_here(talk)[1]}")


# --- asking the dialogue --------------------------------------------------------------------------


def say_again(talk: Talk, _: object) -> State:
    """Say the whole step again, including existing connections."""
    return entering.ask(talk, Ask.AGAIN)


def say_rest_again(talk: Talk, _: object) -> State:
    """Repeat the connections to make while the starter rests."""
    return entering.rest(talk)


def choices(talk: Talk, _: object) -> State:
    """Say the possible answers; for a number also the step, because every digit key is then a digit."""
    short, keys = help_here(talk)
    if talk.step.reading is not None:
        setup = instructing.setup(talk.library, talk.step, talk.work.connected, whole=True)
        short = " ".join((*setup, *entering.to_do(talk), short))
    told = dict.fromkeys((short, keys, "Say why for reasons."))
    talk.say(" ".join(filter(None, told)), Speech.HELP)
    return talk.state


def why(talk: Talk, _: object) -> State:
    """Name the likeliest fault, the reasons, and the faults that this step tells apart."""
    talk.say(weighing.why(talk, telling_apart=True), Speech.HELP)
    return talk.state


def correction(talk: Talk, by: By) -> State:
    """Take back the last fact or result; if there is none, ask again."""
    return moving.take_back(talk, by.how, lambda talk: entering.ask(talk, Ask.QUESTION))


def correction_at_rest(talk: Talk, by: By) -> State:
    """Take back the last fact or result; if there is none, begin the step again."""
    return moving.take_back(talk, by.how, lambda talk: entering.before_step(talk, offer=False))


# --- the starter ----------------------------------------------------------------------------------


def crank_begins(talk: Talk, _: object) -> State:
    """Someone cranks: time it, or refuse while the starter rests."""
    # The pause after a crank that only the ear heard refuses nobody: it may be the same crank.
    if talk.wait_s() > 0 and (talk.crank.by_ear is None or talk.must_rest()):
        return _not_yet(talk)
    talk.do(CutSpeech())
    cranking.begin(talk, talk.now.at)
    return State.CRANKING


def crank_begins_at_rest(talk: Talk, by: By) -> State:
    """Someone wants to crank: refuse until the starter has rested; a second Enter goes on anyway."""
    if talk.wait_s() > 0:
        insists = talk.crank.refused and by.how != "voice" and talk.limits.paced
        return go_anyway(talk, by) if insists else _not_yet(talk)
    if not talk.limits.paced:
        return rested(talk, by)
    talk.do(CancelTimer(REST_TIMER))
    return crank_begins(talk, by)


def _not_yet(talk: Talk) -> State:
    talk.crank.refused = True
    talk.said.prefix = "Not yet."
    talk.do(CancelTimer(REST_TIMER))
    return entering.rest(talk)


def go_anyway(talk: Talk, _: object) -> State:
    """The technician decides that the starter may crank before it has rested: record that, and ask the step."""
    left = max(0, round(talk.wait_s()))
    talk.note(ModeChanged("went on anyway", f"the starter's rest had {left} more seconds"))
    talk.do(CancelTimer(REST_TIMER))
    talk.crank.starter = talk.crank.starter.at_once(talk.now.at)
    talk.crank.refused = False
    longest = talk.crank.starter.longest(talk.starter_limits(), talk.now.at)
    talk.said.prefix = f"The starter is hot. {round(longest)} seconds at most."
    return entering.ask(talk, Ask.ACT)


def rested(talk: Talk, _: object) -> State:
    """The starter has rested: ask the step, once what is being spoken has come to its end."""
    crank, said = talk.crank, talk.said
    if crank.turning is not None:  # somebody cranks during the rest, and was not heard to stop
        cranking.count_turning(talk, talk.now.at, 1.0)
        if talk.wait_s() > 0:
            crank.due = False
            return State.RESTING
    if talk.limits.paced and not (crank.due or talk.gear.mute or said.finished == said.utterance):
        crank.due = True
        talk.do(StartTimer(REST_TIMER, LONGEST_WORDS_S))
        return State.RESTING
    if crank.due:
        talk.do(CancelTimer(REST_TIMER))
    crank.due = crank.refused = False
    if crank.starter.rested_at > crank.starter.ended:  # not after the engine has only come to a stop
        said.prefix = "Okay to crank."
    return entering.ask(talk, Ask.ACT)


def crank_limit(talk: Talk, _: object) -> State:
    """The engine has turned as long as it may: tell the person to stop, unless it may be running by now."""
    starts = talk.step.starts_engine
    talk.stop_crank(timed=True, fired=None if starts else False)
    talk.crank.counted = True
    stop = LET_GO if starts else STOP_CRANKING
    talk.say_lines((stop, entering.question(talk)))
    talk.said.message = stop
    return State.ASKING


def stop_unannounced(talk: Talk, _: object) -> State:
    """Stop at once: at a cranking step the engine may be turning, even if nobody announced it."""
    return moving.stop(talk, announced=False)


def stand_by_while_cranking(talk: Talk, _: object) -> State:
    """Stop cranking, and stand by."""
    return moving.stand_by(talk, cranking=True)


def ask_to_close_while_cranking(talk: Talk, by: By) -> State:
    """Stop cranking; close the session if the person asks once more."""
    return moving.ask_to_close(talk, by.how, cranking=True)
