"""The particulars of the present question, for a person who answers it by finger."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.dialogue.states import State
from assistant.core.library.terms import FactKind
from assistant.core.library.vocabulary import OVER_RANGE
from assistant.core.values.particulars import Asks, DoneResult, Particulars
from assistant.core.values.units import plain_number
from assistant.core.words import glancing

if TYPE_CHECKING:
    from decimal import Decimal

    from assistant.core.dialogue.talk import Talk

SHOWN = 30
"""Number of the last results that a tablet gets; the limit keeps the work for each event from growing."""

_READS = frozenset({State.ASKING, State.CRANKING, State.RESTING, State.READING_BACK})
"""States in which a step's number can be keyed."""

_TAKES_OVER_RANGE = _READS - {State.READING_BACK}

_FACTS = frozenset({State.INQUIRING, State.CONFIRMING})


def particulars(talk: Talk) -> Particulars:
    """The particulars of the present question."""
    if talk.work.step is None or talk.work.procedure is None:
        return Particulars()
    procedure, step = talk.position
    asks, unit, plausible = _asked(talk)
    longest = talk.limits.longest_number if asks is Asks.NUMBER else 0
    return Particulars(
        procedure,
        step,
        asks,
        unit,
        plausible,
        longest,
        _over_range(talk) if asks is Asks.NUMBER else "",
        _done(talk),
        talk.past.trail.results,
    )


def _asked(talk: Talk) -> tuple[Asks, str, tuple[str, str] | None]:
    reading = talk.step.reading
    if talk.state in _FACTS and talk.facts.asked is not None:
        inquiry = talk.asked.inquiry
        if inquiry.kind is FactKind.NUMBER:
            return Asks.NUMBER, inquiry.unit, _written(inquiry.plausible)
        if talk.asked.spells and talk.state is State.INQUIRING:
            return Asks.SIGNS, "", None
    elif talk.state in _READS and reading is not None:
        return Asks.NUMBER, reading.unit, _written(reading.plausible)
    return Asks.NOTHING, "", None


def _written(plausible: tuple[Decimal, Decimal] | None) -> tuple[str, str] | None:
    return (plain_number(plausible[0]), plain_number(plausible[1])) if plausible else None


def _over_range(talk: Talk) -> str:
    """The most nines that can be keyed, and Enter: no meter shows such a number (`keying`)."""
    asked = talk.state in _TAKES_OVER_RANGE and talk.limits.paced and OVER_RANGE in talk.step.heard
    return " ".join([*"9" * talk.limits.longest_number, "enter"]) if asked else ""


def _done(talk: Talk) -> tuple[DoneResult, ...]:
    """The last results, newest first; those that were not asked again but taken over count as well."""
    found = []
    for past in talk.past.trail.newest():
        if past.pending is None:
            continue
        step = talk.library.step(past.procedure, past.step)
        pending = past.pending
        words = glancing.result(talk.library, step, pending.answer, pending.value, pending.unit)
        found.append(DoneResult(past.number, words))
        if len(found) == SHOWN:
            break
    return tuple(found)
