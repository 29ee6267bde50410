"""The next place after a result, a skipped step, a correction or a word: a step, another procedure, a verdict, a
pause.

The handlers import this module, and it imports `entering`; nothing leads back.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.dialogue import asking, cautioning, entering, keeping, repeating, weighing
from assistant.core.dialogue.circles import Visits
from assistant.core.dialogue.inquiring import AskedFact
from assistant.core.dialogue.memory import Answered, Counters
from assistant.core.dialogue.states import State
from assistant.core.dialogue.talk import REST_TIMER, STOP_CRANKING
from assistant.core.dialogue.trail import Paused, Pending, new_since
from assistant.core.library.procedure import Leads
from assistant.core.library.vocabulary import AFTER_REPAIR, SENSES
from assistant.core.reasoning.knowledge import measurement_key
from assistant.core.values.entries import (
    TAKEN_BACK,
    FactGiven,
    FactUndone,
    LedBack,
    ModeChanged,
    ProcedureEntered,
    ProcedurePaused,
    ResultUndone,
    VerdictReached,
    VoiceNoteTaken,
)
from assistant.core.values.events import CancelTimer, CutSpeech, EndNote, Speech
from assistant.core.values.thresholds import OLD_RULES
from assistant.core.words import instructing, placing, remarking

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.core.dialogue.doubting import Doubted
    from assistant.core.dialogue.policy import Acceptance
    from assistant.core.dialogue.talk import Talk
    from assistant.core.library.procedure import Target
    from assistant.core.values.events import NoteRecorded


def commit(talk: Talk, pending: Pending, acceptance: Acceptance) -> State:
    """Record a result and go to its target, unless a result is doubtful."""
    step = talk.step
    kept, talk.awaited.offered = talk.awaited.offered, False
    keeps_all = kept and keeping.keeps_all(talk, pending)
    shown, pending = pending.answer.outcome, repeating.recorded(step, pending)
    keeping.record(talk, pending, acceptance.value, kept=kept, shown=shown)
    if keeps_all:
        talk.work.visits = talk.work.visits.knowing(talk.procedure.name)
    if not kept:
        talk.work.connected = instructing.connected_after(talk.work.connected, step.measure)
    talk.past.forget_aside(step.measure)
    doubt = weighing.sum_doubt(talk) or weighing.doubted(talk)
    if doubt:
        return _ask_again(talk, doubt)
    return go(talk, pending.answer.target)


def go(talk: Talk, target: Target) -> State:
    """Go to the target of an answer or of a skipped step."""
    if target.leads is Leads.STEP:
        return entering.enter_step(talk, target.name)
    if target.leads is Leads.PROCEDURE:
        last = talk.past.trail.last
        return hand_over(talk, target.name, titled=last is None or not last.number)
    talk.work.verdict = target.name
    # Affirming an answer that ends in a verdict affirms the verdict, too; skipping a test does not.
    talk.work.affirmed = bool(talk.past.trail.last and talk.past.trail.last.number)
    talk.note(VerdictReached(talk.procedure.name, target.name, talk.work.affirmed))
    return conclude(talk)


def hand_over(talk: Talk, name: str, *, titled: bool = False) -> State:
    """Continue with another procedure; if it was done before, say what is new since then, or stop.

    Args:
        talk: The session.
        name: The other procedure.
        titled: Whether to say its title: not if a read-back or a verdict has named it.
    """
    came_from = talk.procedure.name
    if came_from == AFTER_REPAIR:
        talk.work.visits = Visits()
    talk.work.again_in = ""
    talk.work.visits = talk.work.visits.leaving(came_from, talk.past.results)
    before = talk.work.visits.of(name)
    if before is not None and name != AFTER_REPAIR and talk.limits.rules > OLD_RULES:
        new = new_since(talk.past.trail.measured(), before[1])
        if not new or (came_from, name) in talk.work.visits.returned:
            return _stop_circle(talk, name)
        talk.work.visits = talk.work.visits.returning(came_from, name)
        talk.work.again_in = name
        told = remarking.new_since([weighing.result_of(talk, past, tuple(new[-2:])) for past in new[-2:]])
        talk.said.add_prefix(told)
    return entering.enter_procedure(talk, name, came_from, titled=titled)


def _stop_circle(talk: Talk, back_to: str) -> State:
    """The tests run in a circle: stop, name no part, and say what to do next."""
    assessment = weighing.assess(talk)
    best = assessment.best_test() if assessment else None
    done = [
        past for past in reversed(talk.past.trail.measured()) if not past.kept and past.measure is not None
    ]
    last = next((past for past in done if past.measure and past.measure.instrument not in SENSES), done[0])
    repeated = placing.named_test(talk.library, talk.library.step(last.procedure, last.step))
    follows = (
        remarking.next_safe_test(placing.named_test(talk.library, best[0]))
        if best
        else remarking.repeat_last(repeated)
    )
    talk.work.led_back = LedBack(talk.procedure.name, back_to, remarking.LED_BACK, follows)
    talk.note(talk.work.led_back)
    return conclude(talk)


def conclude(talk: Talk) -> State:
    """Say the verdict, or that the tests run in a circle, and the possible next actions."""
    talk.awaited.counters = Counters()
    close = "Press plus to close." if talk.gear.deaf else "Say close session."
    if talk.work.led_back is not None:
        text = f"{talk.work.led_back.says} {talk.work.led_back.next} {close}"
        talk.say(" ".join(filter(None, (talk.said.take_prefix(), text))), Speech.VERDICT)
        return State.CONCLUDING
    verdict = talk.procedure.verdicts[talk.work.verdict or ""]
    following = ""
    if verdict.continue_with:
        following = talk.library.procedures[verdict.continue_with].title
    back = (
        "" if following or not talk.work.paused else remarking.procedure_short(talk.work.paused[-1].procedure)
    )
    open_still = weighing.left_open(talk, verdict)
    heard = talk.work.affirmed and remarking.would_mean(verdict) in talk.said.prompt
    texts = [remarking.verdict_text(verdict, following, heard=one) for one in (heard, False)]
    text, again = (" ".join(filter(None, (one, open_still))) for one in texts)
    end = _after_verdict(talk, following, back, close)
    talk.say(" ".join(filter(None, (talk.said.take_prefix(), text + end))), Speech.VERDICT)
    talk.said.prompt = again + end
    return State.CONCLUDING


def _after_verdict(talk: Talk, following: str, back: str, close: str) -> str:
    """What can be done after a verdict, as the end of its sentence."""
    deaf = bool(talk.gear.deaf)
    if not talk.work.affirmed:
        return " Enter for yes, minus to undo." if deaf else " Say yes, or correction."
    return_to = f" Go ahead: back to {back}." if back else ""
    go_on = " Enter to go ahead, plus to close." if deaf else " Say go ahead, or close session."
    return return_to + (go_on if following or back else f" {close}")


def return_to_work(talk: Talk) -> State:
    """Resume after an interruption: say the verdict again, or begin the present step again."""
    if talk.work.concluded:
        return conclude(talk)
    offer = talk.awaited.offered or (talk.facts.asked is not None and talk.facts.offer)
    return entering.before_step(talk, offer=offer)


def _ask_again(talk: Talk, doubt: Doubted) -> State:
    """Go back to the doubtful result, once; later results are offered again when their steps come."""
    doubtful, against = doubt.doubtful, doubt.against
    assert doubtful.pending is not None  # noqa: S101
    assert doubtful.measure is not None  # noqa: S101
    step = talk.library.step(doubtful.procedure, doubtful.step)
    again = placing.named_test(talk.library, step)
    text = doubt.text or remarking.before_part(again)
    if against is not None and not doubt.text:
        in_order = (doubtful, against) if doubtful.number < against.number else (against, doubtful)
        first, second = (weighing.result_of(talk, past, in_order) for past in in_order)
        text = remarking.misfit((first, second), again, rare=doubt.rare)
    talk.remark(doubt.why.value, text)
    stop = f"{STOP_CRANKING} " if talk.said.prefix.startswith(STOP_CRANKING) else ""
    talk.said.prefix = stop + text
    left = talk.past.trail.back_to(doubtful)
    for past in left:
        how = TAKEN_BACK[doubt.why][past is not doubtful]
        talk.note(ResultUndone(past.number, past.procedure, past.step, how))
    talk.past.aside += [past for past in reversed(left[:-1]) if past.pending is not None]
    talk.past.asked_again.add(measurement_key(doubtful.measure))
    talk.past.before[doubtful.procedure, doubtful.step] = doubtful.pending.answer.outcome
    talk.said.heard = ""
    talk.work.back_at(doubtful, talk.library)
    return entering.enter_step(talk, doubtful.step, offer=False)


def take_fact(talk: Talk, given: FactGiven) -> State:
    """Let the fact count, and go on to the next one or to the step."""
    talk.note(given)
    talk.facts.given[given.fact] = given
    cautioning.signed_in(talk, given)
    talk.facts.answered.append(Answered(given.fact, talk.past.trail.last))
    talk.facts.again = tuple(name for name in talk.facts.again if name != given.fact)
    talk.facts.asked = None
    talk.said.message = talk.said.heard = ""
    talk.awaited.counters = Counters()
    return entering.before_step(talk, offer=talk.facts.offer)


def set_aside(talk: Talk) -> tuple[Paused, ...]:
    """Leave the present procedure; returns the place to come back to, nothing if it has reached its verdict."""
    if talk.work.set_up:  # it was spoken, so it may already be connected and must come off first
        talk.work.connected = instructing.connected_after(talk.work.connected, talk.step.measure)
    talk.facts.asked = None
    talk.awaited.no_result()
    talk.facts.again = ()
    talk.work.interrupted = True
    if talk.work.concluded:
        talk.work.reopen()
        return ()
    talk.note(ProcedurePaused(*talk.position))
    return (Paused(*talk.position),)


def come_back(talk: Talk, paused: Paused, aside: tuple[Paused, ...] = ()) -> State:
    """Continue a procedure that was set aside; `aside` is set aside instead."""
    came_from = talk.procedure.name
    talk.work.reopen()
    talk.work.paused = (*(other for other in talk.work.paused if other is not paused), *aside)
    talk.work.procedure = talk.library.procedures[paused.procedure]
    talk.note(ProcedureEntered(paused.procedure, came_from, came_back=True))
    talk.said.add_prefix(f"Back to {remarking.procedure_short(paused.procedure)}.")
    talk.work.interrupted = True
    return entering.enter_step(talk, paused.step)


def fact_to_take_back(talk: Talk) -> str | None:
    """The fact that a correction takes back: the last one, if no step has been left since; None if there is none."""
    last = talk.facts.answered[-1] if talk.facts.answered else None
    return last.fact if last and last.after is talk.past.trail.last else None


def take_back_fact(talk: Talk, name: str, how: str) -> State:
    """Take back the last fact and ask for it again; `how` goes into the record."""
    talk.facts.answered.pop()
    undone = talk.facts.given.pop(name)
    back = FactUndone(name, undone.value, how)
    talk.note(back)
    cautioning.signed_in(talk, back)
    inquiry = talk.library.terms.facts[name]
    spoken = asking.spoken_value(inquiry, undone.value, undone.unit)
    talk.said.prefix = f"Undone. {inquiry.label}: {spoken}."
    talk.facts.asked = AskedFact(inquiry)
    talk.awaited.no_result()
    talk.work.interrupted = talk.work.interrupted or talk.work.set_up
    talk.said.heard = ""
    talk.end_rest()
    return entering.before_step(talk, offer=True)


def take_back_result(talk: Talk, how: str) -> State:
    """Take back the last result or the skipping of a step, and begin that step again; `how` goes into the record."""
    talk.stop_crank(timed=True)
    if talk.work.set_up:  # it was spoken, so it may already be connected and must come off first
        talk.work.connected = instructing.connected_after(talk.work.connected, talk.step.measure)
    last = talk.past.trail.pop()
    talk.note(ResultUndone(last.number, last.procedure, last.step, how))
    while last.unasked and talk.past.trail:
        last = talk.past.trail.pop()
        talk.note(ResultUndone(last.number, last.procedure, last.step, how))
    words = weighing.result_of(talk, last) if last.pending else "Skipped test."
    talk.said.prefix = f"Undone. {words}"
    talk.said.heard = ""
    talk.work.reopen()
    talk.work.back_at(last, talk.library)
    return entering.enter_step(talk, last.step, offer=False)


def take_back(talk: Talk, how: str, otherwise: Callable[[Talk], State]) -> State:
    """Take the last fact or result back.

    Args:
        talk: The session.
        how: The way of the request, for the record.
        otherwise: Called if there is nothing to take back.
    """
    name = fact_to_take_back(talk)
    if name is not None:
        return take_back_fact(talk, name, how)
    if talk.past.trail:
        return take_back_result(talk, how)
    talk.said.message = talk.said.prefix = "Nothing to undo."
    return otherwise(talk)


def say_where_it_is(talk: Talk) -> State:
    """Say the last prompt again, after its prefix."""
    talk.say(talk.said.take_prefix() or talk.said.prompt, Speech.HELP)
    return talk.state


def keep_note(talk: Talk, recorded: NoteRecorded) -> None:
    """Note a voice note that has ended and is stored."""
    talk.note(VoiceNoteTaken(recorded.clip.file, recorded.clip.duration_s, *talk.position))
    talk.awaited.note_running = False


# --- standing by ----------------------------------------------------------------------------------

STANDING_BY = "Standing by. Say go ahead, or press Enter."


def stop(talk: Talk, *, announced: bool = True) -> State:
    """Stop at once.

    Args:
        talk: The session.
        announced: False if the engine may be turning although nobody said so; it then counts as cranked.
    """
    talk.stop_crank(timed=announced)
    return _stand_by(talk, "Stop. Key off.", Speech.STOP, ModeChanged("stop", "stop was said or keyed"))


def stand_by(talk: Talk, text: str = STANDING_BY, why: str = "asked for", *, cranking: bool = False) -> State:
    """Stand by.

    Args:
        talk: The session.
        text: The words to say.
        why: The reason, for the record.
        cranking: Whether the engine is turning and has to stop first.
    """
    cranking = cranking or talk.crank.began is not None
    talk.stop_crank(timed=True)
    mode = ModeChanged("stand by", why)
    if cranking:
        return _stand_by(talk, f"{STOP_CRANKING} Key off. {text}", Speech.STOP, mode)
    return _stand_by(talk, text, Speech.NOTICE, mode)


def ask_to_close(talk: Talk, how: str, *, cranking: bool = False) -> State:
    """Stand by before closing the session, so that one misheard word never ends it; `how` is the way of the
    request.
    """
    text = "Standing by. To end the session, say close session again. To go on, say go ahead."
    return stand_by(talk, text, f"close was asked for by {how}", cranking=cranking)


def _stand_by(talk: Talk, text: str, kind: Speech, mode: ModeChanged) -> State:
    """Stop everything that runs, forget unfinished input, and say so."""
    talk.do(CancelTimer(REST_TIMER))
    if talk.awaited.note_running:
        talk.do(EndNote())
    talk.do(CutSpeech())
    talk.note(mode)
    talk.awaited.pending = None
    talk.awaited.counters = Counters()
    talk.said.typed = talk.said.message = ""
    asked = talk.facts.asked
    if asked is not None:  # spelled signs are kept
        asked.code, asked.typed, asked.waiting = "", "", None
    talk.say(text, kind, can_be_cut=False)
    talk.said.prompt = f"{STANDING_BY} To end: close session."
    return State.STANDING_BY
