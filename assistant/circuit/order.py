"""The order of tests: the minutes of a procedure, and the least that any order of its tests could take.

A test divides the possible faults by its results.
The least expected time to part a set of faults is that of the best first test, plus the least time for each part
that it leaves: dynamic programming over sets of faults, exact for up to `MOST_EXACT` of them, and beyond that over the
most promising tests only.
A set of faults that share a verdict of the procedure is not divided further, so the optimum tells apart exactly
what the procedure tells apart.
Preparation (the set-up for cranking, the module laid bare, the coil unplugged) costs its time once.

Each fault gives its likeliest answer on a typical car: this compares orders and ignores doubtful answers.
The looks come from a model with no bench measurement behind it, odds and minutes are judgement (`core/odds.py`).
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.core.reasoning.odds import preparations

if TYPE_CHECKING:
    from assistant.core.library.procedure import Measurement
    from assistant.core.reasoning.odds import Odds


MOST_EXACT = 24
"""With more faults than these the exact search takes too long, and only promising tests are tried."""
BREADTH = 2
"""Number of tests to try at each set of faults then: those that divide most for each minute."""


@dataclass(frozen=True)
class Trial:
    """A test with its result for each fault.

    Attributes:
        name: Its name in the order.
        minutes: Minutes without preparation.
        needs: Preparation, by name.
        shows: Its result for each fault, in the order of the faults.
    """

    name: str
    minutes: float
    needs: frozenset[str]
    shows: tuple[Hashable, ...]


@dataclass(frozen=True)
class Choice:
    """A set of faults, the best next test, and the choice after each of its outcomes.

    Attributes:
        faults: Numbers of the faults that are still possible.
        test: The test; None if no more is asked, or no test tells more.
        after: Each result that it can show, with the choice after that.
    """

    faults: tuple[int, ...]
    test: Trial | None = None
    after: tuple[tuple[Hashable, Choice], ...] = ()


@dataclass(frozen=True)
class Best:
    """The best order.

    Attributes:
        minutes: Expected minutes, preparation included.
        first: The first choice, with all that follow.
        sets: Number of sets of faults that were examined.
        exact: Whether no order takes less; if False, it is the best of those that were tried.
    """

    minutes: float
    first: Choice
    sets: int
    exact: bool = True


def preparation(measure: Measurement) -> frozenset[str]:
    """Preparation that a measurement needs, by the names of ``once`` in ``odds.yaml``."""
    return frozenset(preparations(measure))


def minutes_of(odds: Odds, measures: Sequence[Measurement]) -> float:
    """Minutes of a series of measurements; a repeated one is taken over and costs nothing."""
    different = dict.fromkeys(measures)
    once = {need for measure in different for need in preparation(measure)}
    return sum(odds.price(measure) for measure in different) + sum(odds.once[need] for need in sorted(once))


def best_order(
    prior: Sequence[float],
    tests: Sequence[Trial],
    covered: Sequence[frozenset[int]],
    once: Mapping[str, float],
) -> Best:
    """The order of tests with the least expected minutes.

    Args:
        prior: Odds of each fault; they need not add up to 1.
        tests: All tests that there are.
        covered: Sets of faults that need not be told apart, because one verdict covers them.
        once: Minutes of each preparation.
    """
    total = sum(prior)
    weights = [odds / total for odds in prior]
    exact = len(prior) <= MOST_EXACT
    worth_having = _worth_having(tests, len(prior))
    search = _Search(weights, worth_having, [_mask(one) for one in covered], once, exact=exact)
    everything = (1 << len(prior)) - 1
    minutes = search.minutes(everything, frozenset())
    return Best(minutes, search.choice(everything, frozenset()), len(search.known), exact)


def _mask(faults: frozenset[int]) -> int:
    return sum(1 << number for number in faults)


def _worth_having(tests: Sequence[Trial], count: int) -> list[tuple[Trial, tuple[int, ...]]]:
    """Each test with the sets into which it divides all faults, without tests that another one equals for less."""
    parted: dict[tuple[int, ...], list[Trial]] = {}
    for test in tests:
        parts: dict[Hashable, int] = {}
        for number in range(count):
            parts[test.shows[number]] = parts.get(test.shows[number], 0) | 1 << number
        if len(parts) > 1:
            parted.setdefault(tuple(sorted(parts.values())), []).append(test)
    return [
        (test, parts)
        for parts, same in parted.items()
        for test in same
        if not any(
            other is not test
            and other.needs <= test.needs
            and (other.minutes, same.index(other)) < (test.minutes, same.index(test))
            for other in same
        )
    ]


@dataclass
class _Search:
    weights: list[float]
    tests: list[tuple[Trial, tuple[int, ...]]]
    covered: list[int]
    once: Mapping[str, float]
    known: dict[tuple[int, frozenset[str]], tuple[float, int]] = field(default_factory=dict)
    weight_of: dict[int, float] = field(default_factory=dict)
    exact: bool = True

    def minutes(self, left: int, done: frozenset[str]) -> float:
        """Expected minutes from here, times the share of cars that come here."""
        key = (left, done)
        if key not in self.known:
            self.known[key] = self._best(left, done)
        return self.known[key][0]

    def _best(self, left: int, done: frozenset[str]) -> tuple[float, int]:
        if any(left & one == left for one in self.covered):
            return 0.0, -1
        weight = self._weight(left)
        # Tests in order of their immediate cost, so that expensive branches are cut early.
        costs = sorted(
            (
                weight * (test.minutes + sum(self.once[need] for need in sorted(test.needs - done))),
                number,
            )
            for number, (test, _) in enumerate(self.tests)
        )
        if not self.exact:
            costs = self._promising(costs, left, weight)
        least, chosen = float("inf"), -1
        for cost, number in costs:
            if cost >= least:
                break
            test, parts = self.tests[number]
            after = [part & left for part in parts if part & left]
            if len(after) < 2:
                continue
            ready = done | test.needs
            spent = cost
            for part in after:
                spent += self.minutes(part, ready)
                if spent >= least:
                    break
            else:
                least, chosen = spent, number
        return (0.0, -1) if chosen < 0 else (least, chosen)

    def _promising(self, costs: list[tuple[float, int]], left: int, weight: float) -> list[tuple[float, int]]:
        """The few tests that divide most for each minute, by the entropy of their remainders."""

        def worth(cost: float, number: int) -> float:
            shares = [self._weight(part & left) / weight for part in self.tests[number][1] if part & left]
            return -sum(share * math.log(share) for share in shares if share) / max(cost, 1e-9)

        best = sorted(costs, key=lambda pair: (-worth(*pair), pair))[:BREADTH]
        return sorted(best)

    def _weight(self, left: int) -> float:
        if left not in self.weight_of:
            self.weight_of[left] = sum(
                weight for number, weight in enumerate(self.weights) if left >> number & 1
            )
        return self.weight_of[left]

    def choice(self, left: int, done: frozenset[str]) -> Choice:
        """The best order from here."""
        faults = tuple(number for number in range(len(self.weights)) if left >> number & 1)
        self.minutes(left, done)
        number = self.known[left, done][1]
        if number < 0:
            return Choice(faults)
        test, parts = self.tests[number]
        after = []
        for part in parts:
            if part & left:
                shown = test.shows[(part & left).bit_length() - 1]
                after.append((shown, self.choice(part & left, done | test.needs)))
        return Choice(faults, test, tuple(after))
