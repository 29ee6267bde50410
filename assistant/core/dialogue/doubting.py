"""Picks the result to ask again: one that does not fit, or thin evidence before a part is named.

A result is asked again if all results together suggest that one of them is a slip. Results that some mechanism of
the catalogue gives together are a known pattern, however rare, and raise no doubt. Before a verdict names a part,
the result that is likeliest a slip is asked again if the evidence does not make the verdict's faults likely
enough: a part costs more than two minutes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core.dialogue.trail import Trail
from assistant.core.reasoning.adding_up import Drop
from assistant.core.values.entries import Why
from assistant.core.values.units import convert

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.core.library.procedure import Verdict
    from assistant.core.reasoning.evidence import Assessment


@dataclass(frozen=True)
class Doubted:
    """A result that is asked again.

    Attributes:
        doubtful: The result.
        against: The one that it fits least with; None if it does not contradict another one.
        rare: Whether some fault gives them all together, but a rare one.
        why: The reason to ask again.
        text: The sentence about it; "" if it is made from the two results.
    """

    doubtful: Trail
    against: Trail | None
    rare: bool = False
    why: Why = Why.MISFIT
    text: str = ""


def drops_of(measured: Sequence[Trail]) -> tuple[Drop, ...]:
    """The readings in volts, as drops, each with its place among all results."""
    found = []
    for place, past in enumerate(measured):
        pending = past.pending
        if past.measure is None or pending is None or pending.value is None or pending.unit is None:
            continue
        volts = convert(pending.value, pending.unit, "V")
        if volts is not None:
            found.append(Drop(past.measure, volts, place))
    return tuple(found)


def thin(assessment: Assessment, verdict: Verdict, asked: frozenset[str], part_from: float) -> int | None:
    """Place of the result to ask again before this verdict names its part; None if none is to be.

    Args:
        assessment: The assessment of all results.
        verdict: The verdict that the last of them leads to.
        asked: Measurements that were already asked again.
        part_from: Probability from which the verdict's faults are likely enough.
    """
    if not verdict.part or not verdict.faults or len(assessment.used) < 2:
        return None
    if sum(assessment.posterior.get(fault, 0.0) for fault in verdict.faults) >= part_from:
        return None
    free = [place for place in assessment.used if assessment.measurement(place) not in asked]
    place = max(free, key=assessment.slip_of, default=None)  # the first among equals
    # A result that is most likely right is not asked again only because the others already were.
    least = assessment.limits.doubt_from / len(assessment.used)
    return place if place is not None and assessment.slip_of(place) >= least else None
