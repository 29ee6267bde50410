"""Instructions of a step in words: the connection, the deed, the observation, and the question at the end.

Spoken sentences aim at twelve words at most, one action each, the place before the action.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.procedure import Engine, Measurement, Step
from assistant.core.library.vocabulary import SENSES
from assistant.core.values.units import UNIT_WORDS
from assistant.core.words.placing import at_place, listed, place_spoken

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.core.library.library import Library

AS_SHOWN = "Read the meter as it shows"
"""The instruction for a meter if the assistant itself subtracts the leads."""


def setup(
    library: Library, step: Step, before: Measurement | None = None, *, whole: bool = False
) -> tuple[str, ...]:
    """The instructions for connecting, a sentence each.

    The last instrument comes off first, parts are unplugged before anything is connected, and parts that the last
    measurement had unplugged are plugged in again.

    Args:
        library: All terms.
        step: The step.
        before: The measurement that was connected last; None at the beginning.
        whole: Say also what is already connected.
    """
    terms, measure = library.terms, step.measure
    instrument = terms.instruments[measure.instrument]
    sentences = []
    away = [part for part in measure.unplugged if before is None or part not in before.unplugged]
    back = [part for part in (before.unplugged if before else ()) if part not in measure.unplugged]
    last = terms.instruments[before.instrument] if before else None
    # One clamp shows a ramp, a peak and a time: what is called the same, and prepared the same, stays where it is.
    other = last is not None and (last.short, last.prepare) != (instrument.short, instrument.prepare)
    stays = before is not None and not other and before.instrument != measure.instrument
    stays = stays and before is not None and (before.clip, before.probe) == (measure.clip, measure.probe)
    if (away or back) and (before is None or before.engine is not Engine.KEY_OFF):
        sentences.append("Key off.")
    if other and last is not None and last.name not in SENSES:
        sentences.append(f"Take the {last.short} off.")
    if away:
        sentences.append(f"Unplug {listed([terms.places[part].spoken for part in away])}.")
    if back:
        sentences.append(f"Plug {listed([terms.places[part].spoken for part in back])} in again.")
    if instrument.prepare and (whole or before is None or other):
        sentences.append(instrument.prepare)
    clipped = before is not None and not other and measure.clip == before.clip
    if measure.clip and (whole or not clipped):
        sentences.append(at_place(place_spoken(terms, measure, measure.clip), instrument.clip))
    if measure.compared_with:  # in the order of the hands: the place of comparison first
        sentences.append(at_place(terms.places[measure.compared_with].spoken, instrument.probe))
        sentences.append(at_place(terms.places[measure.probe].spoken, "probe it in the same crank"))
    elif instrument.probe and (whole or not stays):
        sentences.append(at_place(place_spoken(terms, measure, measure.probe), instrument.probe))
    return tuple(sentences)


def act(library: Library, step: Step, after: tuple[str, ...] = ()) -> tuple[str, ...]:
    """The instructions for key, engine and observer; "Key off." only if `after`, the setup, has not said it.

    A look or a question with the key off needs no key, so it says nothing of it.
    """
    watch = library.terms.instruments[step.measure.instrument].watch
    if step.reading and step.reading.subtract:
        watch = AS_SHOWN  # or the person subtracts the leads as well
    watched = [f"{watch}."] if watch else []
    if step.measure.engine is Engine.CRANKING:
        return ("Crank the engine.", *watched)
    if step.measure.engine is Engine.KEY_ON:
        return ("Key on, do not crank.", *watched)
    if step.measure.engine is Engine.RUNNING:
        return ("Engine running.", *watched)
    if step.measure.instrument in SENSES:
        return tuple(watched)
    return tuple(watched) if "Key off." in after else ("Key off.", *watched)


def question(library: Library, step: Step) -> str:
    """The question that ends an instruction, with the answers in the order of their digits."""
    if step.reading:
        return f"How many {UNIT_WORDS[step.reading.unit][1]}?"
    words = [library.terms.outcomes[answer.outcome].spoken for answer in step.answers]
    text = listed(words, "or")
    return f"{text[:1].upper()}{text[1:]}?"


def instruction(
    library: Library, step: Step, before: Measurement | None = None, *, whole: bool = False
) -> tuple[str, ...]:
    """The whole spoken instruction of a step, a sentence each; arguments as for `setup`."""
    connecting = setup(library, step, before, whole=whole)
    return (*connecting, *act(library, step, connecting), question(library, step))


def keyed_choices(library: Library, step: Step) -> str:
    """The answers with their digits, for the number pad."""
    if step.reading:
        return f"Key the {UNIT_WORDS[step.reading.unit][1]}, then Enter."
    return numbered([library.terms.outcomes[answer.outcome].spoken for answer in step.answers])


def numbered(choices: Iterable[str]) -> str:
    """Choices with their digits, a sentence each: "1 for lit. 2 for dim."."""
    return " ".join(f"{number} for {text}." for number, text in enumerate(choices, start=1))
