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
"""Most likelihoods that a `Memo` keeps, some 40 kB each: more than the results that are weighed together."""

LIFTED_EVERY = 8
_VERY_SMALL = 2.0**-400
"""After each `LIFTED_EVERY` results, odds below this are scaled up, so that they never underflow to zero."""


@dataclass(frozen=True, eq=False)
class Scale:
    """One outcome of one test: its share under each hypothesis, and the channel's a and b."""

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
        """Probability that this record is not a slip, given the record and each hypothesis."""
        return [1.0 - slip for slip in self.slips]


@dataclass
class Memo:
    """Figures that one assessment computes and the next needs again: names of tests, priors, likelihoods.

    It changes no result, only the time that one takes.  If there are more than `most` likelihoods, all are forgotten,
    so that it stays small in a long session.
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
    """The same odds times a power of two, which rounds nothing, if many results have made them very small."""
    top = max(odds)
    if not 0.0 < top < _VERY_SMALL:
        return odds
    by = 2.0 ** min(-math.frexp(top)[1], 1000)
    return [odd * by for odd in odds]
