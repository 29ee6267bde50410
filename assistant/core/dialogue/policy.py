"""Grades answers by the cost of a mistake, and judges the lamp in use.

An answer is simply taken if every answer leads to the same step. If it leads to a different step or to another
procedure, it is read back inside the next sentence and can be corrected. A verdict, a number or a doubtful hearing is
read back and must be affirmed.
Silence is never a yes.
"""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, TypeVar

from assistant.core.library.procedure import Engine, Leads
from assistant.core.values.answer_kind import AnswerKind

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.core.library.procedure import Answer, Measurement, Step
    from assistant.core.values.thresholds import Thresholds

_Level = TypeVar("_Level")


class Acceptance(StrEnum):
    """The way in which a result counts, in the record's words."""

    TAKEN = "taken"
    READ_BACK = "read back"
    AFFIRM = "affirmed"


def answer_kind(step: Step, answer: Answer) -> AnswerKind:
    """The kind of an answer to this step, by what a wrong one would cost."""
    if step.reading is not None:
        return AnswerKind.READING
    return AnswerKind.VERDICT if answer.target.leads is Leads.VERDICT else AnswerKind.RESULT


def grade(step: Step, answer: Answer, confidence: float, thresholds: Thresholds) -> Acceptance:
    """The confirmation that this answer needs before it counts.

    Args:
        step: The present step.
        answer: The answer or band that was understood.
        confidence: 0 to 1; 1 for a key.
        thresholds: The dialogue's limits.
    """
    sure_from = thresholds.of(answer_kind(step, answer)).sure_from
    costs = {Leads.VERDICT} if thresholds.paced else {Leads.VERDICT, Leads.PROCEDURE}
    costly = step.reading is not None or answer.target.leads in costs
    if costly or confidence < sure_from:
        return Acceptance.AFFIRM
    if len({str(choice.target) for choice in step.choices()}) == 1:
        return Acceptance.TAKEN
    return Acceptance.READ_BACK


LAMP = "test-lamp"
HEAVIEST_LAMP_A = Decimal("0.3")
"""On the switched side a lamp with more current takes so much from the coil that it weakens the spark: 22 kV
remain at 0.27 A, 11 kV at 0.6 A (from the project's sheet of trade facts).
"""
FAINTEST_LAMP_A = Decimal("0.05")
"""A bulb with less current glows so faintly that daylight hides it (chosen; common practice, no source)."""

LED_REFUSED = "An LED light fools you here. Use a bulb-type test light."
HEAVY_REFUSED = "That lamp loads the coil. Use one under 0.3 amps."
SHADE = "Shade the bulb. It glows faintly."


def lamp_refused(measure: Measurement, kind: str, current: Decimal | None) -> str:
    """Why the lamp in use cannot make this measurement, two short sentences; "" if it can, or nothing is known.

    Args:
        measure: The measurement.
        kind: ``filament``, ``led``, or "" if it is not known.
        current: Current of the lamp on the battery, in A; None if it is not known.
    """
    if measure.instrument != LAMP:
        return ""
    if kind == "led":
        return LED_REFUSED
    loads = {measure.clip, measure.probe, measure.compared_with} & {"switched", "driver-end"}
    if loads and measure.engine is Engine.CRANKING and current is not None and current > HEAVIEST_LAMP_A:
        return HEAVY_REFUSED
    return ""


def lamp_faint(measure: Measurement, current: Decimal | None) -> bool:
    """Whether the bulb of the lamp in use is so faint that it needs shade."""
    return measure.instrument == LAMP and current is not None and current < FAINTEST_LAMP_A


def tapered(levels: Mapping[int, _Level], counter: int) -> _Level:
    """The level whose count is the highest that does not exceed the counter.

    This is how VoiceXML 2.1 picks a prompt or an event handler by its `count` attribute
    (VoiceXML 2.0, sections 4.1.6 and 5.2.2; counters start at 1).

    Raises:
        ValueError: No level has a count that low.
    """
    fitting = [count for count in levels if count <= counter]
    if not fitting:
        raise ValueError(f"no level for the count {counter}")
    return levels[max(fitting)]
