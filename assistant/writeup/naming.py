"""Names in the record, in the words of its procedures: verdicts, places, faults."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.repeat import repeated
from assistant.core.values.entries import ResultRepeated
from assistant.core.words import placing
from assistant.writeup.statement import Source, procedure, term, terms_of

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Measurement, Procedure, Step, Verdict
    from assistant.core.values.entries import ResultTaken
    from assistant.record.course import Course, Ended

HOW = {
    "voice": "by voice",
    "keypad": "by keypad",
    "tablet": "by tablet",
    "ear": "by ear",
    "meter": "by meter",
    "clamp": "by clamp",
    "held": "held still",
}
"""The way in which something was given, by the log's word."""


def plain(library: Library, name: str) -> str:
    """A fault in words; one that the recorded procedures lack keeps its name."""
    fault = library.terms.faults.get(name)
    return fault.plain if fault else name


def procedure_of(library: Library, name: str) -> Procedure:
    """A procedure by name; a KeyError says that the copied ones lack it."""
    return library.procedures[name]


def verdict_of(library: Library, ended: Ended) -> Verdict:
    """The verdict that was read out; a KeyError says that the copied procedures lack it."""
    return library.procedures[ended.procedure].verdicts[ended.verdict]


def asked(library: Library, course: Course, result: ResultTaken) -> tuple[Step, str]:
    """The step of a result as it was asked, and the name of the answer or band that was seen.

    They are those of the earlier test if the step repeated one.
    """
    step = library.step(result.procedure, result.step)
    if not isinstance(result, ResultRepeated):
        return step, result.outcome
    earlier = course.numbered(result.repeats)
    return repeated(step, library.step(earlier.procedure, earlier.step), result.repeats), result.shown


def asked_sources(library: Library, course: Course, result: ResultTaken) -> tuple[Source, ...]:
    """The copied step of a result, and the one that it repeated."""
    own = procedure(library, result.procedure, "steps", result.step)
    if not isinstance(result, ResultRepeated):
        return own
    earlier = course.numbered(result.repeats)
    return (*own, *procedure(library, earlier.procedure, "steps", earlier.step))


def owner(library: Library, step: Step) -> tuple[Source, ...]:
    """The home of a step: the first procedure that has exactly this one."""
    names = (name for name, one in library.procedures.items() if one.steps.get(step.name) == step)
    return procedure(library, next(names), "steps", step.name)


def place(library: Library, name: str, step: str) -> str:
    """The place in the work where something happened, in a few words."""
    if name not in library.procedures:
        return "before the first test"
    steps: dict[str, Step] = library.procedures[name].steps
    if step not in steps:
        return library.procedures[name].title
    return placing.place_words(library, steps[step])


def place_sources(library: Library, name: str, step: str) -> tuple[Source, ...]:
    """The sources of the words of `place`."""
    if name not in library.procedures:
        return ()
    if step not in library.procedures[name].steps:
        return procedure(library, name, "title")
    measure = library.step(name, step).measure
    return (*procedure(library, name, "steps", step), *terms_of(measure), *called_by(library, measure))


def how_often(count: int) -> str:
    """A number of times in words."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def called_by(library: Library, measure: Measurement) -> tuple[Source, ...]:
    """The source of the name that a measurement has by its part; none if its place names it."""
    key = placing.key_of(library.terms, measure)
    return term("called", key) if key else ()
