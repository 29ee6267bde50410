"""The arithmetic of one result: its share under each hypothesis, the channel that it was recorded through, odds.

`reasoning/evidence.py` has the model that this belongs to.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

_MOST_SCALES = 160
"""How many likelihoods a `Memo` keeps: more than results are weighed together, some 40 kB each."""

LIFTED_EVERY = 8
_VERY_SMALL = 2.0**-400
"""Odds are looked at after so many results, and lifted when they are smaller: no double gets lost on the way."""


@dataclass(frozen=True, eq=False)
class Scale:
    """What one outcome of one test says: its share under each hypothesis, and the channel's a and b."""

    shares: tuple[float, ...]
    right: float
    wrong: float

    @cached_property
    def likelihoods(self) -> list[float]:
        """Probability of this record under each hypothesis."""
        return [share * self.right + (1.0 - share) * self.wrong for share in self.shares]

    @cached_property
    def slips(self) -> list[float]:
        """Probability that this record is a slip, given the record and each hypothesis."""
        return [
            (1.0 - share) * self.wrong / likelihood
            for share, likelihood in zip(self.shares, self.likelihoods, strict=True)
        ]

    @cached_property
    def holds(self) -> list[float]:
        """Probability that this record is no slip, given the record and each hypothesis."""
        return [1.0 - slip for slip in self.slips]


@dataclass
class Memo:
    """What was computed for one assessment and is the same in the next: names of tests, priors, likelihoods.

    It changes no result, only the time that one takes; so that a long session keeps a bounded one, the likelihoods
    are forgotten when there are more than `most`.
    """

    most: int = _MOST_SCALES

    names: dict[tuple[str, str], tuple[str, str]] = field(default_factory=dict)
    priors: dict[str, list[float]] = field(default_factory=dict)
    alone: dict[tuple[str, Scale], float] = field(default_factory=dict)
    scales: dict[tuple[str, str, str, float, float], Scale] = field(default_factory=dict)

    def scale(self, key: tuple[str, str, str, float, float], shares: tuple[float, ...]) -> Scale:
        """The scale of this circuit, test, outcome, a and b."""
        if key not in self.scales:
            if len(self.scales) >= self.most:
                self.scales.clear()
                self.alone.clear()
            self.scales[key] = Scale(shares, key[3], key[4])
        return self.scales[key]


def channel(sure: float, misreading: float, count: int) -> tuple[float, float]:
    """Probabilities that an outcome is recorded when it was, and when it was not, the one to be seen."""
    right = sure * (1.0 - misreading) + (1.0 - sure) * misreading / (count - 1)
    return right, (1.0 - right) / (count - 1)


def normalised(odds: Sequence[float]) -> list[float]:
    """Odds as probabilities: they sum to 1."""
    whole = sum(odds)
    return [odd / whole for odd in odds]


def lifted(odds: list[float]) -> list[float]:
    """The same odds times a power of two, which rounds nothing, where many results have made them very small."""
    top = max(odds)
    if not 0.0 < top < _VERY_SMALL:
        return odds
    by = 2.0 ** min(-math.frexp(top)[1], 1000)
    return [odd * by for odd in odds]
