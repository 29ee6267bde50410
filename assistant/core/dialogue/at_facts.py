"""Handlers while a fact is asked for or read back, and for another lamp."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.core.dialogue import asking, entering, moving
from assistant.core.dialogue.inquiring import blank
from assistant.core.dialogue.memory import Counters
from assistant.core.dialogue.policy import Acceptance
from assistant.core.dialogue.states import State
from assistant.core.library.terms import FactKind
from assistant.core.library.vocabulary import ONLY_WRITTEN
from assistant.core.values.answer_kind import AnswerKind
from assistant.core.values.events import CutSpeech, Speech

if TYPE_CHECKING:
    from assistant.core.dialogue.inquiring import Waiting
    from assistant.core.dialogue.talk import Talk
    from assistant.core.dialogue.triggers import By, Named, Signs, Worded

# --- what was said --------------------------------------------------------------------------------


def signs(talk: Talk, spelled: Signs) -> State:
    """Signs were spelled: repeat them, or say why they cannot count."""
    asked = talk.asked
    if asked.propose(spelled.signs):
        return entering.confirm(talk, asked)
    problem = asked.add(spelled.signs, spelled.source)
    talk.said.message = problem
    if problem:
        talk.remark("not taken", f"{spelled.signs}: {problem}")
        talk.say(f"{problem} Say correction to undo.", Speech.HELP)
        return State.INQUIRING
    if asked.full:
        return entering.complete(talk, asked)
    talk.awaited.counters = Counters()
    text = f"{asking.spelled(spelled.signs)}."
    text = f"{text[:1].upper()}{text[1:]}"
    if talk.limits.one_word and asked.inquiry.kind is FactKind.SPELLED:
        asked.so_far()
        talk.say(f"{text} Right?", Speech.READ_BACK)
        return State.CONFIRMING
    talk.say(text, Speech.READ_BACK)
    return State.INQUIRING


def that_is_all(talk: Talk, _: object) -> State:
    """All signs are there."""
    asked = talk.asked
    if asked.spells:
        return entering.complete(talk, asked)
    talk.say(asking.sayable(asked.inquiry), Speech.HELP)
    return State.INQUIRING


def fact(talk: Talk, waiting: Waiting) -> State:
    """A whole fact: a choice, or a spoken number by which nothing is judged, counts at once if it was heard well.

    Everything else waits for a yes; so does a number of keys, which may get another unit there.
    """
    inquiry, choice = talk.asked.inquiry, talk.asked.inquiry.kind is FactKind.CHOICE
    sure_from = talk.limits.of(AnswerKind.RESULT if choice else AnswerKind.READING).sure_from
    spoken = inquiry.name in ONLY_WRITTEN and waiting.source.how == "voice" and talk.limits.one_word
    if not (choice or spoken) or waiting.source.confidence < sure_from:
        return other_fact(talk, waiting)
    talk.asked.waiting = waiting
    talk.said.prefix = f"{inquiry.label}: {asking.spoken_value(inquiry, waiting.value, waiting.unit)}."
    return moving.take_fact(talk, talk.asked.given(Acceptance.READ_BACK.value))


def other_fact(talk: Talk, waiting: Waiting) -> State:
    """A whole fact, perhaps instead of one that already waits for a yes: it waits for a yes."""
    talk.asked.waiting = waiting
    talk.said.message = ""
    return entering.confirm(talk, talk.asked)


def implausible(talk: Talk, problem: Worded) -> State:
    """The number is not believable: ask again."""
    asked = talk.asked
    talk.said.typed = ""
    talk.remark("implausible", problem.text)
    asked.typed, asked.waiting = "", None
    talk.said.message = problem.text
    talk.say(f"{problem.text} {asked.inquiry.question}", Speech.HELP)
    return State.INQUIRING


def not_sure(talk: Talk, _: object) -> State:
    """Say where to find it."""
    inquiry = talk.asked.inquiry
    talk.remark("not sure", inquiry.name)
    talk.asked.typed = ""
    help_text = (inquiry.look_for, inquiry.question, "Or leave blank.")
    talk.say(" ".join(filter(None, help_text)), Speech.HELP)
    return State.INQUIRING


def left_blank(talk: Talk, by: By) -> State:
    """Leave the fact blank, and never ask for it again."""
    inquiry = talk.asked.inquiry
    talk.said.prefix = "Left blank."
    return moving.take_fact(talk, blank(inquiry.name, by.how))


def say_again(talk: Talk, _: object) -> State:
    """Ask again, with the signs so far."""
    return entering.inquire(talk)


# --- what was keyed -------------------------------------------------------------------------------


def typed(talk: Talk, key: Named) -> State:
    """A key of the fact: cut the speech and show the entry so far."""
    asked = talk.asked
    talk.said.message = talk.said.heard = ""
    asked.waiting = None
    talk.do(CutSpeech())
    talk.said.prompt = asked.inquiry.question
    if key.name == "erase":
        asked.erase()
    elif not asked.spells:
        asked.type(key.name, talk.limits.longest_number)
    elif asked.propose(key.name):
        return entering.confirm(talk, asked)
    else:
        problem = asked.press(key.name, talk.now.how)
        if problem:
            talk.said.message = problem
            talk.say(problem, Speech.HELP)
        elif asked.full:
            return entering.complete(talk, asked)
    return State.INQUIRING


def typed_while_confirming(talk: Talk, key: Named) -> State:
    """The point changes the unit of a number that waits for a yes; any other key starts again."""
    if key.name == "point" and not talk.asked.spells:
        talk.said.message = talk.said.heard = ""
        return _other_unit(talk)
    return typed(talk, key)


def _other_unit(talk: Talk) -> State:
    """The same number in the next possible unit."""
    asked = talk.asked
    units, waiting = asking.units_of(asked.inquiry), asked.waiting
    if waiting is not None and len(units) > 1:
        unit = units[(units.index(waiting.unit) + 1) % len(units)]
        problem = asking.problem_with(asked.inquiry, Decimal(waiting.value), unit)
        if problem:
            talk.say(problem, Speech.HELP)
            return State.CONFIRMING
        asked.waiting = replace(waiting, unit=unit)
    return entering.confirm(talk, asked)


# --- yes, no, back --------------------------------------------------------------------------------


def affirm(talk: Talk, _: object) -> State:
    """Yes: the fact counts."""
    return moving.take_fact(talk, talk.asked.given(Acceptance.AFFIRM.value))


def deny(talk: Talk, _: object) -> State:
    """The read-back is wrong, or the spelling should start again."""
    asked = talk.asked
    talk.remark("read-back denied", asked.inquiry.name)
    proposed = asked.waiting is not None and asked.waiting.repair is not None
    asked.waiting = None
    if proposed:  # it was a guess: the spelled signs stay, and can be taken back in parts
        text = "Scratch that. Say correction to undo the last part. Say no to start over."
        talk.say(text, Speech.PROMPT)
        return State.INQUIRING
    asked.groups.clear()
    asked.code = asked.typed = ""
    talk.said.message = ""
    talk.said.prefix = "Scratch that."
    return entering.inquire(talk)


def correction(talk: Talk, by: By) -> State:
    """Take back the last signs; if there are none, the last fact or result."""
    if _part_taken_back(talk):
        return State.INQUIRING
    return moving.take_back(talk, by.how, entering.inquire)


def correction_while_confirming(talk: Talk, _: object) -> State:
    """Take back the value that waits for a yes."""
    _part_taken_back(talk)
    return State.INQUIRING


def _part_taken_back(talk: Talk) -> bool:
    """Take back the last group, or the value that waits for a yes; False if there is neither."""
    asked = talk.asked
    waiting, asked.waiting = asked.waiting, None
    taken = asked.take_back()
    if not taken and waiting is None:
        return False
    talk.said.message = ""
    talk.said.prefix = f"Undone: {asking.spelled(taken)}." if taken and asked.spells else "Undone."
    entering.inquire(talk)
    return True


# --- the lamp -------------------------------------------------------------------------------------


def other_lamp(talk: Talk, _: object) -> State:
    """Another lamp is in use: ask for the lamp's facts again, now."""
    talk.end_rest()
    entering.forget_lamp(talk, "other lamp")
    talk.facts.asked = None
    talk.work.interrupted = True
    return moving.return_to_work(talk)
