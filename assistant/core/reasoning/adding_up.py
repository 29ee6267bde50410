"""Pieces of a voltage drop must add up to the whole: pure.

Drops that one instrument measures under one load, in one state of the engine, are voltages along one current's way.
Their two ends show which are pieces of which.  The probe is upstream and the clip downstream (a
reading is not negative), so the pieces lead from the probe of the whole, each from its probe to its clip, to the clip
of the whole.
The sum may differ from the whole by `ABSOLUTE_V` and `RELATIVE` of the larger of the two (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.core.library.procedure import Measurement

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence


LOADED = ("loaded-voltmeter", "ground-drop-meter")
"""Voltmeters with a load of their own: only what the same load draws through can add up."""

ABSOLUTE_V = Decimal("0.1")
RELATIVE = Decimal("0.05")

MOST = 24
"""Most drops that are compared; a car has three or four."""


@dataclass(frozen=True)
class Drop:
    """A drop that was measured.

    Attributes:
        measure: The measurement.
        volts: Its reading in V.
        place: Place of the result among all results.
    """

    measure: Measurement
    volts: Decimal
    place: int


@dataclass(frozen=True)
class Unequal:
    """A whole and its pieces that do not add up.

    Attributes:
        whole: The whole.
        pieces: Its pieces, from one end to the other.
        suspect: The one to measure again: a probe that touches badly shows less than there is, never more, so it is
            the whole where the pieces give more than it, and else the piece that shows least.
    """

    whole: Drop
    pieces: tuple[Drop, ...]
    suspect: Drop

    @property
    def total(self) -> Decimal:
        """Sum of the pieces, V."""
        return sum((piece.volts for piece in self.pieces), Decimal(0))


def unequal(drops: Sequence[Drop]) -> tuple[Unequal, ...]:
    """Every whole whose pieces do not add up to it, each once; the last reading of a repeated measurement counts."""
    last: dict[Measurement, Drop] = {}
    for drop in drops:
        if drop.measure.instrument in LOADED and drop.measure.clip and not drop.measure.compared_with:
            last.pop(drop.measure, None)
            last[drop.measure] = drop
    known = list(last.values())[-MOST:]
    found = []
    for whole in known:
        for pieces in _chains(whole, known):
            total = sum((piece.volts for piece in pieces), Decimal(0))
            allowed = ABSOLUTE_V + RELATIVE * max(abs(total), abs(whole.volts))
            if abs(total - whole.volts) > allowed:
                least = min(pieces, key=lambda piece: piece.volts)
                found.append(Unequal(whole, pieces, whole if total > whole.volts else least))
    return tuple(found)


def _chains(whole: Drop, known: Sequence[Drop]) -> Iterator[tuple[Drop, ...]]:
    """Two or more drops that lead end to end from one end of the whole to the other, no point twice."""
    of = whole.measure
    same = [
        drop
        for drop in known
        if drop is not whole
        and (drop.measure.instrument, drop.measure.engine, set(drop.measure.unplugged))
        == (of.instrument, of.engine, set(of.unplugged))
    ]
    waiting: list[tuple[str, tuple[Drop, ...], frozenset[str]]] = [(of.probe, (), frozenset((of.probe,)))]
    while waiting:
        point, so_far, passed = waiting.pop()
        if point == of.clip and len(so_far) > 1:
            yield so_far
            continue
        for drop in same:
            other = drop.measure.clip or ""
            if drop.measure.probe == point and other not in passed:
                waiting.append((other, (*so_far, drop), passed | {other}))
