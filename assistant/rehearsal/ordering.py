"""Whether the instructions come in the order in which hands work, and ask for nothing that was just forbidden.

`findings` judges each step after everything that can be connected before it:

- *clip before touch*: a lamp is proved only when its clip is on, on the pole that can light it;
- *key off first*: nothing is unplugged or plugged in before the key is off;
- *its own name*: a reading between two places is not read back under the name of one of them;
- *nothing forbidden*: no instruction goes to a place that a caution of the step keeps the hands off;
- *no open question*: a result asks nothing, because nobody can answer it then;
- *a choice can be held in the head*: at most `MOST_CHOICES` words to choose from in one question.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from assistant.core.library.procedure import Engine
from assistant.core.values.finding import Finding
from assistant.core.words import instructing, placing
from assistant.core.words.sentences import sentences
from assistant.rehearsal.saying import measured_before

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Measurement, Step
    from assistant.core.library.terms import Terms

MOST_CHOICES = 5
"""Most words to choose from in one spoken question; our judgement, no source."""

LIGHTS = {"battery-negative": ("battery-positive",), "battery-positive": ("battery-negative", "ground")}
"""For each place of a lamp's clip, what its probe must touch so that it lights: a place, or the word itself."""

_KEEPS_OFF = re.compile(r"\b(?:hands|stay|keep|stays) off (?:the )?([\w' -]+)", re.IGNORECASE)
"""What a caution keeps the hands off."""


def findings(library: Library, beside: Callable[[str], str]) -> list[Finding]:
    """Findings about the instructions, names and questions of all steps, and the choices of all facts.

    Args:
        library: The procedures.
        beside: The path of a file of the procedures' folder, such as ``terms.yaml``.
    """
    found: dict[Finding, None] = {}
    for procedure in library.procedures.values():
        for step in procedure.steps.values():
            for problem, remedy in _judged(library, procedure.name, step):
                text = f"step {step.name}: {problem}"
                found[Finding(procedure.file, step.line, text, remedy)] = None
        for name, verdict in procedure.verdicts.items():
            check = verdict.next_check.do if verdict.next_check else ""
            for text in (verdict.says, check):
                if text.endswith("?"):
                    problem = f"verdict {name}: it asks what nobody can answer then: '{text}'"
                    found[Finding(procedure.file, verdict.line, problem, "Say what to do")] = None
    for inquiry in library.terms.facts.values():
        if len(inquiry.choices) > MOST_CHOICES:
            text = f"the question for '{inquiry.name}' has {len(inquiry.choices)} choices"
            found[Finding(beside("terms.yaml"), inquiry.line, text, f"Give at most {MOST_CHOICES}")] = None
    return list(found)


def hands(library: Library) -> list[Finding]:
    """Only what could hurt: the order of hands, key and leads, and what a caution of the step forbids."""
    return list(
        dict.fromkeys(
            Finding(procedure.file, step.line, f"step {step.name}: {problem}", remedy)
            for procedure in library.procedures.values()
            for step in procedure.steps.values()
            for problem, remedy in _handled(library, procedure.name, step)
        )
    )


def _judged(library: Library, procedure: str, step: Step) -> Iterator[tuple[str, str]]:
    terms = library.terms
    choices = instructing.spoken_answers(library, step)
    if len(choices) > MOST_CHOICES:
        yield (
            f"a question has {len(choices)} choices",
            "Let a word be 'like' another one that leads to the same place, or ask in two steps",
        )
    if two_places(step.measure) and not placing.name_of(terms, step.measure):
        yield (
            f"a reading between two places is read back as '{placing.place_words(library, step)}'",
            "Give it a name under 'called' in terms.yaml",
        )
    yield from _handled(library, procedure, step)


def _handled(library: Library, procedure: str, step: Step) -> Iterator[tuple[str, str]]:
    """Problems with what the hands are told to do."""
    terms = library.terms
    yield from _forbidden(library, step)
    for before in (None, *measured_before(library, library.procedures[procedure], step)):
        for whole in (False, True):
            yield from _disordered(terms, step.measure, instructing.setup(library, step, before, whole=whole))


def two_places(measure: Measurement) -> bool:
    """Whether a reading is about what lies between its two leads, and not about the voltage at one place."""
    if measure.clip is None or measure.instrument in ("signal-meter", "logic-probe"):
        return False
    if measure.instrument == "voltmeter":
        return measure.clip != "battery-negative" or measure.probe in ("battery-positive", *GROUNDS)
    return measure.instrument.endswith("meter")


GROUNDS = ("engine-block", "driver-ground", "coil-ground")
"""Places whose voltage against the battery's negative post is a drop of the ground side."""


def _disordered(terms: Terms, measure: Measurement, said: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    """Problems with the order of these instructions."""
    instrument = terms.instruments[measure.instrument]
    proof = instrument.prove.get(measure.clip or "")
    if proof in said:
        clipping = placing.at_place(placing.place_spoken(terms, measure, measure.clip or ""), instrument.clip)
        if clipping not in said or said.index(clipping) > said.index(proof):
            yield f"a lamp is proved before its clip is on: '{proof}'", "Clip first, then prove"
        lighting = LIGHTS.get(measure.clip or "", ())
        words = [terms.places[name].spoken if name in terms.places else name for name in lighting]
        if not any(word in proof for word in words):
            yield f"a lamp cannot light there: '{proof}'", "Prove it on the other pole"
    moved = [text for text in said if text.startswith(("Unplug ", "Plug "))]
    if moved and "Key off." in said and said.index("Key off.") > said.index(moved[0]):
        yield f"something is moved before the key is off: '{moved[0]}'", "Say the key first"
    if measure.engine is Engine.KEY_OFF and "Key off." in said and said[0] != "Key off.":
        yield "the key is turned off after something was touched", "Say the key first"


def _forbidden(library: Library, step: Step) -> Iterator[tuple[str, str]]:
    """Places that a caution of the step keeps the hands off, and that the step then asks for."""
    asked = " ".join(instructing.setup(library, step, None, whole=True)).lower()
    for name in step.cautions:
        caution = library.cautions[name]
        for text in (caution.full, caution.short):
            for one in sentences(text):
                for kept in _KEEPS_OFF.findall(one):
                    for thing in re.split(r"\s+and\s+", kept.lower().strip()):
                        if re.search(rf"\b{re.escape(thing)}\b", asked):
                            yield (
                                f"the caution '{name}' forbids what the step asks for: '{one}'",
                                "Say what is dangerous about it",
                            )
