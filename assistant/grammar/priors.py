"""What numbers an instrument shows, as small costs of words in the recogniser's graph.

A voltmeter on a car shows two digits before the point and two behind it: "seven hundred volts" and "point two nine
nine" are likelier misheard than read.  The costs are about the form of a reading and the range of the instrument, never
about what a healthy car shows, because a fault shows as an abnormal reading; and they are small, so that every number
stays sayable, as millivolts do beside volts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.grammar.step_grammar import StepGrammar

Costs = dict[tuple[int, str], float]
"""Costs (natural logarithms) of arcs by (state, word)."""

_DIGITS = frozenset(["zero", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"])
_TENS = frozenset(["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"])
_LARGE = frozenset({"hundred", "thousand"})
_POINTS = frozenset({"point", "decimal"})


@dataclass(frozen=True)
class InstrumentShows:
    """What the instrument for a unit usually shows.

    Attributes:
        large: Cost of a hundred or a thousand, and of a third digit before the point.
        tens: Cost of a number from 20 to 99.
        decimals: Most digits behind the point; each further one costs `FURTHER`.
    """

    large: float = 0.0
    tens: float = 0.0
    decimals: int = 2


FURTHER = 2.0
"""Cost of a digit that the instrument does not show."""

SHOWN: Mapping[str, InstrumentShows] = {
    "V": InstrumentShows(large=1.5, tens=1.0),
    "A": InstrumentShows(),
    "ohm": InstrumentShows(),
    "rpm": InstrumentShows(decimals=0),
    "s": InstrumentShows(large=1.5),
    "ms": InstrumentShows(),
}
"""By the unit of the step (common practice, no source); a unit that is missing here costs nothing.

Volts: hundreds are millivolts, which may be said as well, so they cost little.
"""


def arc_costs(grammar: StepGrammar) -> Costs:
    """The costs of a step's numbers on the arcs of its automaton; empty where no reading is asked for.

    An arc that several numbers share has the cost of the likeliest of them, so no cost is ever too high.
    """
    request = grammar.request
    shown = SHOWN.get(request.units[0]) if request.units and not request.spelling else None
    if shown is None:
        return {}
    automaton = grammar.automaton()
    found: Costs = {}
    first = (automaton.start, _Before())
    todo: list[tuple[int, _Before]] = [first]
    seen = set(todo)
    while todo:
        state, before = todo.pop()
        for word, target in automaton.states[state].items():
            cost, after = before.followed_by(word, shown)
            found[state, word] = min(cost, found.get((state, word), cost))
            if (target, after) not in seen:
                seen.add((target, after))
                todo.append((target, after))
    return {arc: cost for arc, cost in found.items() if cost}


@dataclass(frozen=True)
class _Before:
    """What was said of a number so far.

    Attributes:
        begun: Whether any of its words was said.
        digits: Single digits said one after the other before the point.
        decimals: Digits behind the point; None before it.
    """

    begun: bool = False
    digits: int = 0
    decimals: int | None = None

    def followed_by(self, word: str, shown: InstrumentShows) -> tuple[float, _Before]:
        """The cost of the next word, and what was said then."""
        if word in _POINTS:
            return 0.0, _Before(begun=True, decimals=0)
        if word in _LARGE:
            return (shown.large if self.begun else 0.0), _Before(begun=True)
        if word in _TENS:
            return (0.0 if self.begun else shown.tens), _Before(begun=True)
        if word not in _DIGITS:
            return 0.0, (_Before(begun=True) if self.begun else self)
        if self.decimals is not None:
            decimals = min(self.decimals + 1, shown.decimals + 1)
            return (FURTHER if decimals > shown.decimals else 0.0), _Before(begun=True, decimals=decimals)
        digits = min(self.digits + 1, 4)
        return (shown.large if digits == 3 else 0.0), _Before(begun=True, digits=digits)
