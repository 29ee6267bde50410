"""What was perceived, in words: proposals that are read back, notices, and lines of the board."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Context, Decimal, InvalidOperation
from typing import TYPE_CHECKING

from assistant.core.library.vocabulary import FIRED, HUMS
from assistant.core.values.perceived import MeterState
from assistant.core.values.units import number_words, number_written
from assistant.core.values.witness import Witness

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Step
    from assistant.core.values.perceived import Perceived

PERHAPS_CRANKING = "Cranking?"
CRANKING_HEARD = "I hear cranking."
RUNNING_HEARD = "I hear the engine run."
PUMP_HEARD = "I hear a pump hum."
NOTHING_STEADY = "Nothing steady on the meter."
NO_METER = "No meter. Say the reading."
METER_BACK = "The meter is back."
TAKE_IT = "Or say: take it."

METER_LOST = {
    MeterState.SILENT: "The meter is silent. Say the reading.",
    MeterState.GONE: "The meter is gone. Say the reading.",
}
"""Spoken notices of a meter that sends nothing."""

NOTICES = (NOTHING_STEADY, NO_METER, METER_BACK, TAKE_IT, *METER_LOST.values())
"""Everything here that is spoken whatever the step is."""

WHY = "why"
"""Name of the figure that holds why a clamp has no answer, in a sentence."""

NOT_SURE = "The clamp is not sure."

SPEED = "speed"
"""Name of the figure that holds the cranking speed, in rpm."""

FASTEST = 10000
"""No starter turns an engine so fast, rpm."""


def sounds_like(library: Library, step: Step, seen: Perceived) -> str:
    """A proposal, as the beginning of its read-back: "Sounds slow, about 100 revolutions a minute."."""
    outcome = seen.result.outcome or ""
    spoken = library.terms.outcomes[outcome].spoken
    if seen.source is Witness.CLAMP:
        return f"The clamp shows: {spoken}."
    if outcome in FIRED:
        return " ".join(filter(None, ("Sounds like it runs.", step.look_for)))
    if outcome == HUMS:
        return "Sounds like the pump hums."
    speed = speed_words(seen)
    return f"Sounds {spoken}, {speed}." if speed else f"Sounds {spoken}."


def speed_words(seen: Perceived) -> str:
    """The cranking speed that was heard: "about 180 revolutions a minute"; "" if there is none."""
    speed = speed_of(seen)
    return "" if speed is None else f"about {number_words(speed, 'rpm')}"


def speed_of(seen: Perceived) -> Decimal | None:
    """The cranking speed that was heard, in rpm; None if there is none that an engine could have."""
    try:
        speed = Decimal(seen.figure(SPEED))
    except InvalidOperation:
        return None
    return speed if speed.is_finite() and 0 < speed < FASTEST else None


def reading_words(value: Decimal, unit: str) -> str:
    """A reading that a meter reported, as it is read back: "12.4 volts." of 12.4000 V.

    Its place was just asked for, and all its digits stand on the meter, on the board and in the record; nobody wants to
    hear more than four of them.
    """
    short = _FOUR_DIGITS.plus(value).normalize()
    return (
        f"{number_words(short.quantize(Decimal(1)) if short == short.to_integral_value() else short, unit)}."
    )


def reading_asked(value: Decimal, unit: str, wanted: str) -> str:
    """The same as a question that a yes or a no answers: "12.4?".

    Nothing was said, so nothing was misheard, and the meter is on the right function.
    A unit that is not the one of the step is said, since it is what a glance misreads: "3.86 kilohms?".
    """
    return f"{reading_told(value, unit, wanted).rstrip('.')}?"


def reading_told(value: Decimal, unit: str, wanted: str) -> str:
    """A reading that was just taken, before what comes next: "12.4." in the unit of the step, else with its unit."""
    words = reading_words(value, unit)
    return f"{words.rstrip('.').partition(' ')[0]}." if unit == wanted else words


_FOUR_DIGITS = Context(prec=4, rounding=ROUND_HALF_EVEN)


def heard_as(library: Library, seen: Perceived) -> str:
    """What was heard, for the board: "Sounds slow, about 100 rpm, by ear"; "" for nothing that can be told."""
    outcome, value = seen.result.outcome, seen.result.value
    speed = speed_of(seen)
    about = "" if speed is None else f"about {number_written(speed, 'rpm')}, "
    if outcome == HUMS:
        return PUMP_HEARD
    if seen.source is Witness.CLAMP:
        known = library.terms.outcomes.get(outcome or "")
        return _unsure(seen) if known is None else f"The clamp shows: {known.spoken}"
    if outcome is not None and outcome in library.terms.outcomes:
        return f"Sounds {library.terms.outcomes[outcome].spoken}, {about}by ear"
    if value is not None and seen.result.unit == "rpm":
        return f"Cranks at about {number_written(value, 'rpm')}, by ear"
    return ""


def _unsure(seen: Perceived) -> str:
    """A capture that has no answer, with the reason."""
    return f"{NOT_SURE} {seen.figure(WHY)}".rstrip()


def cranked(seconds: float) -> str:
    """A crank that the ear heard from its begin to its end, for the board."""
    return f"Cranked {seconds:.1f} s, by ear."


def out_of_place(number: str) -> str:
    """A reading that cannot be the one that is asked for, for the board."""
    return f"{number[:1].upper()}{number[1:]} on the meter cannot be right here."
