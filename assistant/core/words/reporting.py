"""Results in words: read back, and written in a report."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.core.library.procedure import Answer, Band, Limit, Specified, Step
from assistant.core.library.vocabulary import OVER_RANGE, SENSES, UNJUDGED
from assistant.core.values.units import number_words, number_written, plain_number
from assistant.core.words.placing import place_words

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.core.library.library import Library


def read_back(library: Library, step: Step, answer: Answer, value: Decimal | None, unit: str | None) -> str:
    """A result as it is spoken back: "Feed side: lit." or "Drop, battery to fuse: 0.12 volts."."""
    place = place_words(library, step)
    said = f"{place[:1].upper()}{place[1:]}"
    if value is not None and unit is not None:
        return f"{said}: {number_words(value, unit)}."
    outcome = OVER_RANGE if step.reading else answer.outcome
    return f"{said}: {library.terms.outcomes[outcome].spoken}."


def heard_back(library: Library, step: Step, answer: Answer, value: Decimal | None, unit: str | None) -> str:
    """A result as it is spoken back at once: to a whole question, which was just heard, only the answer."""
    if step.measure.instrument in SENSES and library.terms.places[step.measure.probe].says:
        outcome = library.terms.outcomes[answer.outcome].spoken
        return f"{outcome[:1].upper()}{outcome[1:]}."
    return read_back(library, step, answer, value, unit)


def seen(library: Library, step: Step, outcome: str, value: Decimal | None, unit: str | None) -> str:
    """A result for a report: "lamp lit", or "12.4 V, charged"."""
    answer = step.answer(outcome)
    if value is not None and unit is not None:
        band = f", {answer.seen}" if isinstance(answer, Band) else ""
        band = ", not judged: no limit from the maker was given" if outcome == UNJUDGED else band
        return f"{number_written(value, unit)}{band}"
    if isinstance(answer, Band):
        return f"{library.terms.outcomes[OVER_RANGE].seen}, {answer.seen}"
    return library.terms.outcomes[outcome].seen


def expected(library: Library, step: Step) -> str:
    """The good outcome of this step, for a report; "" if there is not just one."""
    if step.good is None:
        return ""
    answer = step.answer(step.good)
    if step.reading and isinstance(answer, Band):
        return limits(answer, step.reading.unit)
    return library.terms.outcomes[step.good].seen


def limits(band: Band, unit: str, facts: Mapping[str, Decimal] | None = None) -> str:
    """The limits of a band in words: "9.6 V or more", "below 0.2 V", "0.3 to below 2 ohm".

    A limit that is the vehicle maker's specification is named so, with its number where `facts` holds it.
    """

    def told(limit: Limit, *, last: bool) -> str:
        if isinstance(limit, Specified):
            known = (facts or {}).get(limit.fact)
            return "the maker's limit" if known is None else f"the maker's {plain_number(known)} {unit}"
        return f"{plain_number(limit)} {unit}" if last else plain_number(limit)

    if band.low is None and band.high is None:
        return "any reading"
    if band.low is None:
        return f"below {told(band.high or Decimal(0), last=True)}"
    if band.high is None:
        return f"{told(band.low, last=True)} or more"
    return f"{told(band.low, last=False)} to below {told(band.high, last=True)}"
