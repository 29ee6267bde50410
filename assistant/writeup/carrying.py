"""The support of a verdict: readings of meters and the LED light, or the eye's judgment of a blink."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.vocabulary import UNJUDGED
from assistant.core.values.entries import KEPT
from assistant.core.words import placing
from assistant.writeup.statement import Statement, line, once, procedure, term

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Step
    from assistant.record.course import Taken

BLINKS = frozenset({"steady", "blinking", "flickering", "same", "sharper"})
"""Outcomes of a filament lamp that the eye judges by the change of its light.

A filament glows on between pulses and wavers with the starter, so eyes differ most on these answers.
"""
LED_LIGHT = "led-light"


def is_blink(library: Library, step: Step, outcome: str) -> bool:
    """Whether an answer is the eye's judgment of a blinking filament."""
    return outcome in BLINKS and library.terms.instruments[step.measure.instrument].filament


def is_reading(step: Step, outcome: str) -> bool:
    """Whether an answer is a judged number of a meter, or comes from the LED light, which has no afterglow."""
    if step.measure.instrument == LED_LIGHT:
        return True
    return step.reading is not None and outcome != UNJUDGED


def _decided(step: Step, outcome: str) -> bool:
    """Whether another answer to this test would have led elsewhere."""
    answer = step.answer(outcome)
    return answer is not None and any(other.target != answer.target for other in step.choices())


def _named(library: Library, results: Iterable[Taken]) -> str:
    """Instruments with the numbers of their tests: "ohmmeter (tests 6 and 9) and LED light (test 11)"."""
    tests: dict[str, list[str]] = {}
    for taken in results:
        measure = library.step(taken.result.procedure, taken.result.step).measure
        instrument = library.terms.instruments[measure.instrument]
        tests.setdefault(instrument.short or instrument.spoken, []).append(str(taken.result.number))
    return placing.listed([f"{name} ({_tests(numbers)})" for name, numbers in tests.items()])


def _tests(numbers: list[str]) -> str:
    return f"test{'s' if len(numbers) > 1 else ''} {placing.listed(numbers)}"


def carried(library: Library, results: list[Taken]) -> tuple[Statement, ...]:
    """A sentence about the support of a verdict; none if neither a reading nor a blink decided.

    Args:
        library: The procedures that were copied into the session.
        results: The standing results that led to the verdict, in order.
    """
    readings: list[Taken] = []
    blinks: list[Taken] = []
    for taken in results:
        step = library.step(taken.result.procedure, taken.result.step)
        outcome = taken.result.outcome
        if taken.result.words.endswith(KEPT) or not _decided(step, outcome):
            continue
        if is_blink(library, step, outcome):
            blinks.append(taken)
        elif is_reading(step, outcome):
            readings.append(taken)
    if not readings and not blinks:
        return ()
    eye = f"the eye's judgment of a blink ({_tests([str(taken.result.number) for taken in blinks])})"
    if not readings:
        words = f"This verdict rests on {eye}: no reading carries it."
    elif not blinks:
        words = (
            f"This verdict rests on readings: {_named(library, readings)}. No blink had to be judged by eye."
        )
    elif blinks[-1].line == results[-1].line:
        words = (
            f"The last test is {eye}: a reading should confirm it. Read before: {_named(library, readings)}."
        )
    else:
        words = f"This verdict rests on readings more than on {eye}: {_named(library, readings)}."
    named = [*readings, *blinks]
    sources = [source for taken in named for source in line(taken.line)]
    for taken in named:
        step = library.step(taken.result.procedure, taken.result.step)
        sources += procedure(library, taken.result.procedure, "steps", taken.result.step)
        sources += term("instruments", step.measure.instrument)
    return (Statement(words, once(sources)),)
