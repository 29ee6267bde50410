"""Instructions of a step in words: the connection, the deed, the observation, and the question at the end.

Spoken sentences aim at twelve words at most, one action each, in the order in which hands work.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assistant.core.library.procedure import Engine, Measurement, Step
from assistant.core.library.vocabulary import ALL_BACK, SAME_POINT, SENSES, WATCHED
from assistant.core.values.units import UNIT_WORDS
from assistant.core.words.placing import at_place, calling, capital, listed, place_spoken
from assistant.core.words.sentences import sentences as split

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.core.library.library import Library
    from assistant.core.library.terms import Terms

AS_SHOWN = "Give the raw reading."
"""The instruction for a meter if the assistant itself subtracts the leads."""

CRANK = "Crank it."

LAMP_STAYS = "Leave the heavy lamp on the feed."
"""Said instead of connecting the load of a drop test if the heavy lamp is already there."""


def setup(
    library: Library, step: Step, before: Measurement | None = None, *, whole: bool = False
) -> tuple[str, ...]:
    """The instructions for connecting, a sentence each, in the order in which hands work.

    Key off; the tools of the last measurement that are not needed come off; parts are plugged in again or unplugged;
    the fixed lead is clipped and proved where it is; last comes the free end.

    Args:
        library: All terms.
        step: The step.
        before: The measurement that was connected last; None at the beginning.
        whole: Say also what is already connected.
    """
    terms, measure = library.terms, step.measure
    touching = measure.instrument not in SENSES
    moving = touching or measure.engine in (Engine.CRANKING, Engine.RUNNING)
    there = before.unplugged if before else ()
    away = [part for part in measure.unplugged if part not in there]
    back = [part for part in there if part not in measure.unplugged] if moving else []
    dead = touching and measure.engine is Engine.KEY_OFF
    is_off = before is not None and before.engine is Engine.KEY_OFF
    sentences = []
    if (away or back or dead) and (whole or not is_off):
        sentences.append("Key off.")
    if touching and before is not None:
        mine = tools(terms, measure)
        gone = [tool for tool in tools(terms, before) if tool not in mine]
        sentences += [f"{capital(tool.removeprefix('test '))} off." for tool in gone]
    if back:
        sentences.append(f"Plug {listed([terms.places[part].spoken for part in back])} back in.")
    if away:
        sentences.append(f"Unplug {listed([terms.places[part].spoken for part in away])}.")
    return (*sentences, *_connecting(terms, step, before, whole=whole))


def connected_after(before: Measurement | None, measure: Measurement) -> Measurement | None:
    """What is connected after a measurement: a look or a question leaves the instrument where it was.

    Nothing is once everything was put back.
    """
    if measure.instrument not in SENSES:
        return measure
    if before is None or measure.probe == ALL_BACK:
        return None
    if measure.engine in (Engine.CRANKING, Engine.RUNNING):  # what was unplugged was plugged in for it
        return replace(before, engine=measure.engine, unplugged=measure.unplugged)
    return before if measure.engine is Engine.KEY_OFF else replace(before, engine=measure.engine)


def tools(terms: Terms, measure: Measurement) -> tuple[str, ...]:
    """The tools of a measurement by their names, its own first; none for a look or a question."""
    if measure.instrument in SENSES:
        return ()
    return tuple(terms.instruments[measure.instrument].short.split(" and "))


def _connecting(terms: Terms, step: Step, last: Measurement | None, *, whole: bool) -> tuple[str, ...]:
    """The instructions for the leads: prepare, clip, prove, and the free end last."""
    measure = step.measure
    instrument = terms.instruments[measure.instrument]
    there = _lamp_is_there(last, measure)
    if last is not None and tools(terms, measure)[:1] != tools(terms, last)[:1]:
        last = None  # another tool: nothing of it is connected
    prepared = last is not None and _preparing(terms, last) == _preparing(terms, measure)
    subtracts = (
        step.reading is not None and step.reading.subtract
    )  # then the leads are measured by a question
    sentences = []
    if instrument.prepare and (whole or not prepared) and not subtracts:
        sentences.append(LAMP_STAYS if there else _preparing(terms, measure))
    clipped = last is not None and _stays(terms, last.clip, measure.clip, last, measure)
    stays = clipped and last is not None and _stays(terms, last.probe, measure.probe, last, measure)
    swapped = last is not None and (last.clip, last.probe, last.unplugged) == (
        measure.probe,
        measure.clip,
        measure.unplugged,
    )
    called = calling(terms, measure)
    if swapped and not whole:
        return (*sentences, "Swap the leads.")
    if called is not None and called.hook_up:
        return tuple(sentences) if stays and not whole else (*sentences, *split(called.hook_up))
    if measure.clip and (whole or not clipped):
        sentences.append(at_place(place_spoken(terms, measure, measure.clip), instrument.clip))
        if measure.clip in instrument.prove:
            sentences.append(instrument.prove[measure.clip])
    if whole or not stays or (last is not None and last.instrument == measure.instrument):
        sentences += split(_probing(terms, measure))
    return tuple(sentences)


def _preparing(terms: Terms, measure: Measurement) -> str:
    """What is done before an instrument is connected, with the place of its probe for ``{place}``; "" for nothing."""
    return terms.instruments[measure.instrument].prepare.replace(
        "{place}", terms.places[measure.probe].spoken
    )


def asked(terms: Terms, measure: Measurement) -> str:
    """The question about the place itself, "Any fuel smell or leak?", asked after key and engine are told; or ""."""
    says = terms.places[measure.probe].says
    return says if says.endswith("?") and measure.instrument in SENSES else ""


def _probing(terms: Terms, measure: Measurement) -> str:
    """The instruction for the free end, or for the thing that is looked at; "" for none."""
    place, instrument = terms.places[measure.probe], terms.instruments[measure.instrument]
    if place.says:
        return "" if asked(terms, measure) else place.says
    if measure.compared_with:
        other = terms.places[measure.compared_with]
        return f"Touch the {other.short} first, then the {place.short}."
    return at_place(place_spoken(terms, measure, measure.probe), instrument.probe) if instrument.probe else ""


def _lamp_is_there(last: Measurement | None, measure: Measurement) -> bool:
    """Whether the heavy lamp that loads the feed for a drop test was the instrument of the last measurement, on it."""
    if last is None or (measure.instrument, last.instrument) != ("loaded-voltmeter", "heavy-lamp"):
        return False
    return last.clip == "battery-negative" and SAME_POINT.get(last.probe, last.probe) == "feed"


def _stays(terms: Terms, one: str | None, other: str | None, last: Measurement, measure: Measurement) -> bool:
    """Whether a lead that was at the place `one` and goes to `other` stays: the same point, reached in the same way."""
    if one is None or one != other:
        return one == other
    return place_spoken(terms, last, one) == place_spoken(terms, measure, one)


def act(library: Library, step: Step, *, key_is_on: bool = False, metered: bool = False) -> tuple[str, ...]:
    """The instructions for key, engine and observer; the key is off already, if it has to be, by `setup`.

    `key_is_on`: A look just before had the key on, so that need not be said again.
    `metered`: A meter reports the reading by itself, and it subtracts no leads.
    """
    watch = library.terms.instruments[step.measure.instrument].watch
    if step.reading and step.reading.subtract:
        watch = "" if metered else AS_SHOWN  # or the person subtracts the leads as well
    watched = [watch if watch[-1] in ".?" else f"{watch}."] if watch else []
    key = {
        Engine.CRANKING: (CRANK,),
        Engine.KEY_ON: ("Key on. Don't crank.",),
        Engine.RUNNING: ("Engine running.",),
    }
    stays = key_is_on and step.measure.engine is Engine.KEY_ON
    return (*(() if stays else key.get(step.measure.engine, ())), *watched)


def spoken_answers(library: Library, step: Step) -> tuple[tuple[int, str], ...]:
    """The answers that are said in a question, each with its digit: no two words for one thing.

    An answer that is like another one of the step, and leads to the same place, is left out; it is heard all the same.
    """
    outcomes = library.terms.outcomes
    targets = {answer.outcome: answer.target for answer in step.answers}
    return tuple(
        (number, outcomes[answer.outcome].spoken)
        for number, answer in enumerate(step.answers, start=1)
        if targets.get(outcomes[answer.outcome].like) != answer.target
    )


def question(library: Library, step: Step) -> str:
    """The question that ends an instruction, with the answers in the order of their digits."""
    if step.reading:
        return f"How many {UNIT_WORDS[step.reading.unit][1]}?"
    if step.watch:
        about = asked(library.terms, step.measure)
        told = listed([library.terms.outcomes[name].spoken for name in WATCHED], "or")
        return " ".join(filter(None, (about, f"Say {told}.", "Then: that's all.")))
    words = [spoken for _, spoken in spoken_answers(library, step)]
    text = f"{capital(listed(words, 'or'))}?"
    about = asked(library.terms, step.measure)
    if about:
        return f"{about} {text}"
    if step.measure.compared_with and text.endswith("same?"):
        return f"{text[:-1]} as the {library.terms.places[step.measure.compared_with].short}?"
    return text


_DIGITS = {
    "V": "one two point four",
    "mV": "four five zero",
    "ohm": "zero point six",
    "A": "four point two",
    "rpm": "two one zero",
}
"""Digits of some reading in each unit, one by one, as an example of how to say them."""


def digits_wanted(unit: str) -> str:
    """The request to say a reading digit by digit, with an example that has nothing to do with what is measured."""
    return f"Say the digits: {_DIGITS.get(unit, 'three point five')}."


def instruction(
    library: Library, step: Step, before: Measurement | None = None, *, whole: bool = False
) -> tuple[str, ...]:
    """The whole spoken instruction of a step, a sentence each; arguments as for `setup`."""
    return (*setup(library, step, before, whole=whole), *act(library, step), question(library, step))


def keyed_choices(library: Library, step: Step) -> str:
    """The answers with their digits, for the number pad."""
    if step.reading:
        return f"Key the {UNIT_WORDS[step.reading.unit][1]}, then Enter."
    if step.watch:
        keys = numbered(library.terms.outcomes[name].spoken for name in WATCHED)
        return f"{keys} Enter when that's all."
    return " ".join(f"{number} for {text}." for number, text in spoken_answers(library, step))


def numbered(choices: Iterable[str]) -> str:
    """Choices with their digits, a sentence each: "1 for lit. 2 for dim."."""
    return " ".join(f"{number} for {text}." for number, text in enumerate(choices, start=1))
