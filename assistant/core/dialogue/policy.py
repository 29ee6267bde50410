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
from assistant.core.values.units import convert

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.core.library.procedure import Answer, Measurement, Step
    from assistant.core.values.perceived import Perceived
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


HEARD_FROM = 0.6
"""Probability from which the ear is believed that a starter turns or an engine runs; below, a begin is only shown.

The ear says an unsure beginning once more when it has this probability (`certainty.SURE_FROM` of the ear); its README
says how many true and false ones are believed.
"""

ENDED_FROM = 0.7
"""The same for an end: those that were said too early in recorded starts had 0.58 to 0.68 (the README of the ear)."""

PROPOSED_FROM = 0.8
"""Probability from which something that was heard is proposed as an answer (the README of the ear)."""

HELD_S = 2.0
"""How long a reading stands still before it is taken without a word, s (chosen; a hand that searches moves more)."""

OPEN_LEADS = {"V": Decimal("0.5"), "A": Decimal("0.5")}
"""Readings nearer to zero than this may be leads that touch nothing, so nobody takes them but the technician
(chosen; common practice, no source)."""

SAME_READING = Decimal("0.02")
"""Share of a reading within which it is still the one before: the leads may not have been moved (chosen)."""


SETTLED_S = 1.0
"""How long a starter turns before its reading counts, s: the first surge is over (the procedures say so, too)."""


def stands_by_itself(
    step: Step, answer: Answer, seen: Perceived, before: Perceived | None, *, turning: float | None = None
) -> bool:
    """Whether a reading that nobody took is read back as the answer.

    Only one that has stood for a while and that `costs_a_step`.  At a step that cranks it has stood within what the ear
    hears; it never comes from a running engine. It still needs a yes.

    Args:
        step: The present step.
        answer: The band that the reading falls into.
        seen: The reading.
        before: The reading that stood when the step was entered, or the engine began to turn; None if none did.
        turning: Since when the ear hears the starter turn, s since the session began; None if it does not.
    """
    if seen.stood_s < HELD_S or step.measure.engine is Engine.RUNNING:
        return False
    if step.measure.engine is Engine.CRANKING and not _within(seen, turning):
        return False
    return costs_a_step(step, answer, seen, before)


def costs_a_step(step: Step, answer: Answer, seen: Perceived, before: Perceived | None) -> bool:
    """Whether a reading of the meter leads to another step, and cannot be leads in the air or the reading of the step
    before.

    If a person takes such a reading, it counts without a further yes: it is read back with the next step, and
    "correction" takes it back.  Everything else that a meter shows needs a yes.

    Args:
        step: The present step.
        answer: The band that the reading falls into.
        seen: The reading.
        before: The reading that stood when the step was entered, or the engine began to turn; None if none did.
    """
    value, unit, reading = seen.result.value, seen.result.unit, step.reading
    if value is None or reading is None or answer.target.leads is not Leads.STEP:
        return False
    base = convert(value, unit or reading.unit, reading.unit)
    if base is None or abs(base) < OPEN_LEADS.get(reading.unit, Decimal(0)):
        return False
    return before is None or not _same(before, base, reading.unit)


def _within(seen: Perceived, turning: float | None) -> bool:
    """Whether a reading has stood only while the starter was heard to turn, its first surge over."""
    return turning is not None and seen.at - seen.stood_s >= turning + SETTLED_S


def _same(before: Perceived, base: Decimal, unit: str) -> bool:
    value = before.result.value
    was = None if value is None else convert(value, before.result.unit or unit, unit)
    return was is not None and abs(base - was) <= SAME_READING * max(abs(base), abs(was))


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
