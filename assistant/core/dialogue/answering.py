"""Puts an answer to a step into words, or says why it cannot count; also takes the keys of a number."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.core.dialogue.policy import tapered
from assistant.core.dialogue.showing import help_here
from assistant.core.values.events import Speech
from assistant.core.values.units import span_words
from assistant.core.words import perceiving, placing, reporting, watching

if TYPE_CHECKING:
    from assistant.core.dialogue.states import State
    from assistant.core.dialogue.talk import Talk
    from assistant.core.dialogue.trail import Pending
    from assistant.core.dialogue.triggers import Named, Worded
    from assistant.core.values.events import NoMatch


MISSED_START = "I missed the start."
"""Somebody answered while the assistant still spoke."""


def understood(talk: Talk, pending: Pending) -> str:
    """The answer in the words of its read-back, which the screen shows as well."""
    talk.said.typed = talk.said.message = ""
    if talk.step.watch:
        words = watching.ended(len(talk.awaited.changes))
    elif pending.seen is not None and pending.value is not None and pending.unit is not None:
        words = perceiving.reading_words(pending.value, pending.unit)
    else:
        words = reporting.heard_back(talk.library, talk.step, pending.answer, pending.value, pending.unit)
    talk.said.heard = pending.words if pending.how == "voice" else words
    return words


def taken_as(talk: Talk, pending: Pending) -> str:
    """A reading that was just taken from the meter, before what comes next; "" for any other answer."""
    reading = talk.step.reading
    if reading is None or pending.value is None or pending.unit is None:
        return ""
    return perceiving.reading_told(pending.value, pending.unit, reading.unit)


def not_understood(talk: Talk, heard: NoMatch, first: str, second: str) -> State:
    """Ask the person to say it again, each time with more help, the third time for the keys.

    Args:
        talk: The session.
        heard: What was heard.
        first: What to say the first time that this happens at a step.
        second: What to say the second time.
    """
    talk.remark("not understood", heard.words)
    if talk.gear.deaf:
        return talk.state
    counters = talk.awaited.counters
    counters.no_match += 1
    talk.said.message = MISSED_START if heard.start_missed else "I didn't get that."
    levels = {1: first, 2: second, 3: f"Use the keys. {help_here(talk)[1]}"}
    text = tapered(levels, counters.no_match)
    talk.say(f"{MISSED_START} {text}" if text and heard.start_missed else text, Speech.HELP)
    return talk.state


def wrong_place(talk: Talk, place: Named, asked: str) -> State:
    """The answer names another place than the step; `asked` is the question to repeat."""
    said = talk.library.terms.places.get(place.name)
    words = said.short if said else place.name.replace("-", " ")
    here = placing.place_words(talk.library, talk.step)
    talk.remark("wrong place", f"{words} was said at the {here}: {talk.said.heard}")
    probed = talk.library.terms.places[talk.step.measure.probe]
    asked_about = f"I'm asking about the {here}."
    if probed.kind == "matter" or probed.says:  # its short name is for the screen
        asked_about = "That's not what I'm asking."
    text = f"You said {words}. {asked_about}"
    if here in ("unplugged", "comparison"):
        text = f"You said {words}. I'm asking about the {here} test."
    return _refused(talk, text, asked)


def no_answer(talk: Talk, answer: Worded, asked: str) -> State:
    """The instrument can show this outcome, but the step has no such answer; `asked` is the question to repeat."""
    talk.remark("no answer here", answer.text)
    return _refused(talk, f"{answer.text.capitalize()} doesn't fit this test.", asked)


def _refused(talk: Talk, text: str, asked: str) -> State:
    talk.said.message = text
    talk.say(" ".join(filter(None, (talk.said.take_prefix(), text, asked))), Speech.HELP)
    return talk.state


def implausible(talk: Talk, number: Worded) -> State:
    """The number cannot be a reading: measure again."""
    talk.said.typed = ""
    talk.remark("implausible", number.text)
    reading = talk.step.reading
    low, high = reading.plausible if reading else (Decimal(0), Decimal(0))
    text = f"{number.text} is outside {span_words(low, high, reading.unit if reading else 'V')}."
    text += " Measure again."
    if talk.must_rest():
        text += f" {talk.rest_words()} before you crank again."
    talk.said.message = text
    talk.say(" ".join(filter(None, (talk.said.take_prefix(), text))), Speech.HELP)
    return talk.state


def type_number(talk: Talk, key: Named) -> None:
    """Take one more key of a number: a digit, ``point``, ``erase``, or ``minus``, which starts again."""
    said, name = talk.said, key.name
    if name == "erase":
        said.typed = said.typed[:-1]
    elif name == "minus":
        said.typed = ""
    elif name == "point" and "." in said.typed:
        pass
    elif len(said.typed) < talk.limits.longest_number:
        said.typed += "." if name == "point" else name
    said.message = ""
