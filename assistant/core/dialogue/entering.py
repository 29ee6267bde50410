"""Entering a step: lamp, facts, an earlier result, cautions, rest, and then the question itself.

Every way into a step goes through `before_step`, so none of these can be passed by.
"""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

from assistant.core.dialogue import asking, cautioning, keeping, repeating, weighing
from assistant.core.dialogue.circles import Visits
from assistant.core.dialogue.inquiring import AskedFact
from assistant.core.dialogue.memory import Counters
from assistant.core.dialogue.policy import SHADE, lamp_faint, lamp_refused
from assistant.core.dialogue.sayable import LAMP_FACTS
from assistant.core.dialogue.states import State
from assistant.core.dialogue.talk import REST_TIMER
from assistant.core.library.identity import where_to_look
from assistant.core.library.procedure import Engine, Leads
from assistant.core.library.terms import FactKind
from assistant.core.library.vocabulary import BY_SPEED, CYLINDERS, NAMED_BY, NO_CIRCUIT, SENSES
from assistant.core.values.entries import CautionGiven, FactUndone, ProcedureEntered, Why
from assistant.core.values.events import Speech, StartTimer
from assistant.core.values.witness import Witness
from assistant.core.words import instructing, perceiving as words, remarking, reporting

if TYPE_CHECKING:
    from assistant.core.dialogue.talk import Talk


METER = "meter"
"""The meter among the gear."""

INITIALS = 4
"""Most letters that anybody spells without being told how."""


class Ask(StrEnum):
    """The part of a step's instruction to speak."""

    AGAIN = "all, also what is already connected"
    ALL = "all"
    ACT = "act and question"
    QUESTION = "question"


def enter_step(talk: Talk, name: str, *, offer: bool = True) -> State:
    """Begin this step of the present procedure; `offer` says whether to offer an earlier result of the same
    measurement.
    """
    step = keeping.first_unknown(talk, name) if offer else talk.procedure.steps[name]
    talk.work.step = repeating.asked(talk, step)
    talk.awaited.counters = Counters()
    talk.awaited.pending = None
    talk.awaited.changes = ()
    talk.said.typed = ""
    talk.crank.counted = talk.crank.refused = False
    talk.crank.by_ear, talk.crank.heard_s = None, 0.0
    talk.gear.meter.forget()
    talk.work.set_up = False
    talk.facts.asked = None
    return before_step(talk, offer=offer)


def enter_procedure(talk: Talk, name: str, came_from: str | None, *, titled: bool = True) -> State:
    """Begin a procedure.

    Args:
        talk: The session.
        name: The procedure.
        came_from: The one that handed over; None if the person asked for it.
        titled: Whether to say its title; not if it was named just before, or typed.
    """
    if came_from is None:  # the person asked for it, so no earlier visit counts as a circle
        talk.work.visits = Visits()
    talk.work.visits = talk.work.visits.entering(name, talk.past.results)
    talk.work.procedure = talk.library.procedures[name]
    talk.note(ProcedureEntered(name, came_from))
    presumed = () if came_from is not None else _presumed(talk)
    # Questions need no heading.
    titled = titled and (came_from is None or talk.procedure.circuit != NO_CIRCUIT)
    intro = remarking.procedure_intro(talk.library.terms, talk.work.procedure, presumed, titled=titled)
    talk.said.add_prefix(intro)
    return enter_step(talk, talk.work.procedure.start)


def _presumed(talk: Talk) -> tuple[str, ...]:
    """Faults that the present procedure presumes not to be there, and that no result of the session has excluded."""
    presumed = talk.procedure.presumes_no
    if not presumed:
        return ()
    answers = [past.pending.answer for past in talk.past.trail.measured() if past.pending]
    excluded = {fault for answer in answers for fault in answer.rules_out}
    return tuple(fault for fault in presumed if fault not in excluded)


def before_step(talk: Talk, *, offer: bool) -> State:
    """Refuse a lamp that does not fit the step, ask for facts that are missing, then do what else comes before it."""
    talk.facts.offer = offer
    if talk.facts.asked is None:
        measure = talk.step.measure
        refused = lamp_refused(measure, talk.facts.value("lamp-kind"), talk.numbers().get("lamp-current"))
        if refused:
            talk.remark("lamp refused", refused)
            talk.said.message = refused
            talk.said.add_prefix(refused)
            forget_lamp(talk, "lamp refused")
        due = next((name for name in _due_facts(talk) if name not in talk.facts.given), None)
        if due is not None:
            talk.facts.asked = AskedFact(talk.library.terms.facts[due])
    if talk.facts.asked is not None:
        if talk.facts.asked.full:
            return complete(talk, talk.facts.asked)
        return inquire(talk)
    return cautions_due(talk, offer=offer)


def _due_facts(talk: Talk) -> tuple[str, ...]:
    """Facts that are needed here, in the order of asking; none that another one makes needless."""
    needed = (*talk.facts.again, *talk.procedure.asks, *talk.step.asks, *_ear_needs(talk))
    known = talk.facts.value if talk.limits.one_word else lambda _: ""
    return tuple(name for name in needed if not known(NAMED_BY.get(name, "")))


def _ear_needs(talk: Talk) -> tuple[str, ...]:
    """The number of cylinders, at a step that cranks and asks how, if there is an ear that can count with it."""
    step = talk.step
    if Witness.EAR not in talk.gear.witnesses or CYLINDERS not in talk.library.terms.facts:
        return ()
    asks = step.measure.engine is Engine.CRANKING and all(step.answer(outcome) for outcome in BY_SPEED)
    return (CYLINDERS,) if asks else ()


def cautions_due(talk: Talk, *, offer: bool) -> State:
    """Offer an earlier result of the same measurement, give the due cautions, rest the starter, or ask at once."""
    step = talk.step
    if offer:
        earlier = weighing.same_measurement(talk, step)
        if earlier:
            talk.awaited.pending = earlier
            talk.awaited.offered = True
            told = reporting.read_back(talk.library, step, earlier.answer, earlier.value, earlier.unit)
            return read_back(talk, f"Already measured. {told}")
    talk.awaited.offered = False
    talk.cautions.due, talk.cautions.later = cautioning.due(talk)
    if talk.cautions.due:
        return say_cautions(talk)
    return release(talk)


def next_cautions(talk: Talk) -> State:
    """One group of cautions was given: give the next one, or release the step."""
    if talk.cautions.later:
        talk.cautions.due, talk.cautions.later = talk.cautions.later, ()
        return say_cautions(talk)
    return release(talk)


def say_cautions(talk: Talk) -> State:
    """Speak the due cautions, or show them if they cannot be spoken."""
    due = [(talk.library.cautions[name], form) for name, form in talk.cautions.due]
    text = " ".join(filter(None, (talk.said.take_prefix(), remarking.cautions_text(due))))
    if talk.gear.mute or cautioning.needs_acknowledgement(talk):
        text += " Press Enter." if talk.gear.mute or talk.gear.deaf else " Say ready."
    talk.say(text, Speech.CAUTION, can_be_cut=False)
    if talk.gear.mute:
        return cautions_given(talk, by="shown")
    return State.CAUTIONING


def cautions_given(talk: Talk, *, by: str) -> State:
    """The due cautions have been given, ``spoken`` to their end or ``shown``: wait for ready, or go on."""
    for name, form in talk.cautions.due:
        talk.cautions.given[name] = talk.now.at
        how = form if by == "spoken" else f"{form}, shown on the screen"
        talk.note(CautionGiven(name, how, *talk.position))
    if by == "shown" or cautioning.needs_acknowledgement(talk):
        return State.ACKNOWLEDGING
    return next_cautions(talk)


def release(talk: Talk) -> State:
    """The cautions were given: let the starter rest if it has to, else ask."""
    if talk.must_rest():
        return rest(talk)
    return ask(talk, Ask.AGAIN if talk.work.interrupted else Ask.ALL)


def rest(talk: Talk) -> State:
    """Say the connections to make while the starter rests; before a long rest the key goes off."""
    sentences = instructing.setup(talk.library, talk.step, talk.work.connected)
    off = talk.wait_s() > talk.limits.starter.pause_s and "Key off." not in sentences
    text = (talk.said.take_prefix(), "Key off." if off else "", *sentences, "Don't crank yet.")
    anyway = "Enter again to go anyway." if talk.crank.refused and talk.gear.deaf else ""
    # The board counts the seconds itself.
    talk.say_lines((*text, f"{talk.rest_words()}.", anyway), shown=(*text, anyway))
    talk.crank.due = False
    talk.do(StartTimer(REST_TIMER, talk.wait_s()))
    return State.RESTING


def question(talk: Talk) -> str:
    """The question of the step, with the digits if only keys can answer; "" if the meter answers, as it did before."""
    step = talk.step
    if step.reading is not None and _meter_answers(talk):
        return ""
    if not talk.gear.deaf:
        return instructing.question(talk.library, step)
    about = instructing.asked(talk.library.terms, step.measure)
    return " ".join(filter(None, (about, instructing.keyed_choices(talk.library, step))))


def _meter_answers(talk: Talk) -> bool:
    """Whether a meter gives the readings, as it did before: nobody has to be told how to give one."""
    meter = talk.gear.meter
    return meter.before is not None and METER not in talk.gear.lost and not talk.voice_off


def to_do(talk: Talk, *, key_is_on: bool = False) -> tuple[str, ...]:
    """The instruction for key and engine after the set-up; never "crank" while the starter rests."""
    if talk.must_rest():
        return (f"{talk.rest_words()} before you crank again.",)
    return instructing.act(talk.library, talk.step, key_is_on=key_is_on, metered=_meter_answers(talk))


def _key_is_on(talk: Talk) -> bool:
    """Whether a look just before this one had the key on, so that nobody has touched it since."""
    last = talk.past.trail.last
    before = last.measure if last is not None else None
    looks = before is not None and {before.instrument, talk.step.measure.instrument} <= set(SENSES)
    return looks and before is not None and before.engine is Engine.KEY_ON


def ask(talk: Talk, part: Ask) -> State:
    """Say a step, or the part of it that is needed now; the screen always shows the connections as well."""
    step, asks = talk.step, question(talk)
    prefix = talk.said.take_prefix()
    setup = instructing.setup(talk.library, step, talk.work.connected, whole=part is Ask.AGAIN)
    talk.work.interrupted = False
    if part is Ask.QUESTION:
        talk.say_lines((prefix, asks), shown=(prefix, *setup, asks))
        return State.ASKING
    act = to_do(talk, key_is_on=part is Ask.ALL and _key_is_on(talk))
    if lamp_faint(step.measure, talk.numbers().get("lamp-current")):
        act = (*act, SHADE)
    explained = talk.crank.explained or Witness.EAR in talk.gear.witnesses
    if step.measure.engine is Engine.CRANKING and not explained:
        talk.crank.explained = True
        act = (*act, "Say cranking when it turns.")
    spoken = (*act, asks) if part is Ask.ACT else (*setup, *act, asks)
    talk.say_lines((prefix, *spoken), shown=(prefix, *setup, *act, asks))
    return State.ASKING


def read_back(talk: Talk, text: str) -> State:
    """Read back a pending result, with its consequence if that is costly, and wait for a yes.

    A reading that a meter reported and that costs no more than a step is a question by itself: "12.4?".
    """
    parts = list(filter(None, (talk.said.take_prefix(), text, weighing.judged_words(talk))))
    target = talk.awaited.pending.answer.target if talk.awaited.pending else None
    doubt = weighing.doubted(talk, talk.awaited.pending) if talk.awaited.pending else None
    if doubt and doubt.why is not Why.MISFIT:
        pass  # its consequence is spoken only when the result that is asked again has been measured
    elif doubt and not doubt.rare:
        parts.append("That doesn't match the tests before.")
    elif target and target.leads is Leads.VERDICT:
        parts.append(remarking.would_mean(talk.procedure.verdicts[target.name]))
    elif target and target.leads is Leads.PROCEDURE:
        parts.append(f"Next: {talk.library.procedures[target.name].title}.")
    decides = target is not None and target.leads is Leads.VERDICT
    asked = _metered(talk) if parts[-1] == text and not decides else None
    if asked is not None:
        parts[-1] = f"{text.removesuffix(asked[0])}{asked[1]}"
    elif talk.awaited.offered:
        which = "all you measured" if keeping.keeps_all(talk, talk.awaited.pending) else "it"
        parts.append(f"Keep {which}? Yes or no?")
    elif talk.step.reading is not None and not decides and not talk.gear.deaf:
        parts.append("Right?")
    else:
        parts.append("Yes or no?")
    talk.say(" ".join(parts), Speech.READ_BACK)
    return State.READING_BACK


def _metered(talk: Talk) -> tuple[str, str] | None:
    """The pending reading of a meter as a statement and as a question; None if it is none, or only keys answer."""
    pending, reading = talk.awaited.pending, talk.step.reading
    if pending is None or pending.seen is None or reading is None or talk.awaited.offered or talk.voice_off:
        return None
    value, unit = pending.value, pending.unit
    if value is None or unit is None:
        return None
    return words.reading_words(value, unit), words.reading_asked(value, unit, reading.unit)


def inquire(talk: Talk) -> State:
    """Ask for the fact, with the signs so far."""
    asked = talk.asked
    asked.waiting = None
    if talk.state not in (State.INQUIRING, State.CONFIRMING):
        talk.awaited.counters = Counters()
    so_far = f"{len(asked.signs)} so far, last: {asking.spelled(asked.signs[-3:])}." if asked.signs else ""
    keys = asking.question_keys(asked.inquiry) if talk.gear.deaf else ""
    choices = ""
    if asked.inquiry.kind is FactKind.CHOICE and not keys:
        choices = asking.listed_choices(asked.inquiry)
    how = ""
    long = asking.longest(asked.inquiry) > INITIALS
    if asked.spells and long and not talk.facts.spelling_explained and not keys:
        talk.facts.spelling_explained = True
        ends = "" if talk.limits.one_word else "Then say: that is all."
        how = " ".join(filter(None, ("Spell it, a few letters at a time.", ends)))
    parts = (talk.said.take_prefix(), asked.inquiry.question, choices, so_far, how, keys)
    talk.say(" ".join(filter(None, parts)), Speech.PROMPT)
    return State.INQUIRING


def complete(talk: Talk, asked: AskedFact) -> State:
    """All signs are there: read them back, or say what is wrong."""
    problem = asked.complete()
    if not problem:
        return confirm(talk, asked)
    if asked.full:
        talk.remark("check digit", f"{asked.signs}: {where_to_look(asked.signs)}")
        slips = [asking.spoken_repair(one.position, one.read, one.meant) for one in asked.proposals()]
        numbered = [f"{number}: {slip}" for number, slip in enumerate(slips, start=1)]
        where = f"Maybe {'. '.join(numbered)}. Say which." if numbered else where_to_look(asked.signs)
        talk.said.message = problem if numbered else f"{problem} {where}"
        talk.say(
            " ".join(filter(None, (talk.said.take_prefix(), problem, where, "Or say correction."))),
            Speech.HELP,
        )
        return State.INQUIRING
    talk.said.message = problem
    talk.say(" ".join(filter(None, (talk.said.take_prefix(), problem))), Speech.HELP)
    return State.INQUIRING


def confirm(talk: Talk, asked: AskedFact) -> State:
    """Read a whole fact back, and wait for a yes."""
    waiting = asked.waiting
    assert waiting is not None  # noqa: S101
    talk.said.typed = asked.typed = ""
    spoken = asking.spoken_value(asked.inquiry, waiting.value, waiting.unit)
    text = f"{asked.inquiry.label}: {spoken}."
    if waiting.repair is not None:
        talk.remark("check digit", f"{asked.signs}: {waiting.repair}")
        slip = asking.spoken_repair(waiting.repair.position, waiting.repair.read, waiting.repair.meant)
        text = f"The check digit is wrong. Maybe {slip}. That makes: {spoken}."
    question = "Yes or no?"
    talk.say(" ".join(filter(None, (talk.said.take_prefix(), text, question))), Speech.READ_BACK)
    return State.CONFIRMING


def forget_lamp(talk: Talk, how: str) -> None:
    """Another lamp is needed or in use: its facts will be asked for again; `how` goes into the record."""
    names = tuple(name for name in LAMP_FACTS if name in talk.library.terms.facts)
    for name in names:
        if name in talk.facts.given:
            undone = talk.facts.given.pop(name)
            talk.note(FactUndone(name, undone.value, how))
    talk.facts.answered = [given for given in talk.facts.answered if given.fact not in names]
    talk.facts.again = names
