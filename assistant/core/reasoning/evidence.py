"""The evidence of a session's results: probable faults, contradictions, reasons, and the best next test.

The likelihoods and the prior odds are handed in as one value, `Knowledge`; without it nothing is claimed.

The model
---------
A **hypothesis** is one way in which a fault comes about in one car (a mechanism in one random system).
For each test and hypothesis the table holds the share of each outcome that an observer would report, if he reports
what he sees.  Results are independent given a hypothesis, so whatever two tests have in common because
the car is the same is kept.

The recorded outcome need not be the one that was to be seen: eyes misread, ears mishear, fingers slip.
With n outcomes, an outcome that was to be seen is recorded with probability ``a``, and any other with
``b = (1 - a) / (n - 1)`` (a symmetric channel), where::

    a = c (1 - m) + (1 - c) m / (n - 1)

with m the rate of misreading and c the probability that the recorded word or key is the one that was meant.
So a result with share p has the likelihood ``p a + (1 - p) b``, and its second part over the whole, averaged over
the posterior, is the probability that this result is a slip.
The posterior is Bayes' rule; the weight of a reason is the change of log odds that a result makes (I. J. Good,
"Probability and the Weighing of Evidence", 1950); the worth of a test is its expected gain of information
(D. V. Lindley, Annals of Mathematical Statistics 27, 1956) for each minute.

The model assumes that a car has exactly one fault, and that the catalogue has it: shares are among these.
The likelihoods come from a circuit model with no bench measurement behind it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from assistant.core.reasoning.knowledge import Knowledge, key_of, measurement_key
from assistant.core.reasoning.odds import preparations
from assistant.core.reasoning.posterior import Posterior, WeighedResult
from assistant.core.reasoning.scales import Memo, channel, normalised

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Measurement, Step
    from assistant.core.values.thresholds import Thresholds

EXPLAINED = 0.05
"""Results that one fault explains at least so well do fit together, however rare that fault is (chosen)."""


@dataclass(frozen=True)
class Doubt:
    """Results of which one is likely a slip: the one that is likeliest, and the one that it fits least with.

    Attributes:
        slip: Probability that at least one of all results is a slip.
        doubtful: Place of the doubtful result among the facts.
        against: Place of the result whose absence would lift the doubt most.
        explained: Some fault would give them all, so that they do fit together; but it is a rare one.
    """

    slip: float
    doubtful: int
    against: int
    explained: bool


@dataclass(frozen=True)
class Reason:
    """A result that speaks for the likeliest fault.

    Attributes:
        fact: Place of the result among the facts.
        against: The fault that it speaks against most.
        weight: Change of the log odds of the likeliest fault, in nats; positive.
    """

    fact: int
    against: str
    weight: float


class Assessment(Posterior):
    """The evidence of all results together: contradictions, reasons for a fault, and tests that would tell more."""

    @cached_property
    def slip(self) -> float:
        """Probability that at least one of the results is a slip of eye, ear or finger: the contradiction."""
        rights = self._posterior()
        for weighed in self._weighed:
            rights = [right * holds for right, holds in zip(rights, weighed.scale.holds, strict=True)]
        whole = 0.0
        for right in rights:  # one after the other: `sum` adds in another way from Python 3.12 on
            whole += right
        return min(max(1.0 - whole, 0.0), 1.0)

    @cached_property
    def fit(self) -> float:
        """Fit of the one fault that explains all results best without a slip, 0 to 1.

        It is the product of the shares of what was found, each relative to the largest share that any fault gives
        it, so that a word that is rare under every fault does not count against the others.
        """
        together = [1.0] * len(self._prior)
        for weighed in self._weighed:
            largest = max(weighed.scale.shares)
            if largest > 0:
                together = [
                    so_far * share / largest
                    for so_far, share in zip(together, weighed.scale.shares, strict=True)
                ]
        return max(together)

    def slip_of(self, fact: int, without: int | None = None) -> float:
        """Probability that this one is a slip, with all facts or without another of them."""
        weighed = next((one for one in self._weighed if one.place == fact), None)
        if weighed is None:
            return 0.0
        posterior = self._posterior(without)
        return sum(
            probability * slip for probability, slip in zip(posterior, weighed.scale.slips, strict=True)
        )

    def doubt(self, asked: frozenset[str] = frozenset()) -> Doubt | None:
        """The results that do not fit together, if a slip is likely enough; None if all fit.

        Args:
            asked: Measurements (`measurement_key`) that were asked again already: they are not doubted twice.
        """
        if len(self._weighed) < 2:
            return None
        free = [place for place in self.used if self.measurement(place) not in asked]
        if not free or self.slip < self.limits.doubt_from:
            return None
        doubtful = max(free, key=self._conflict)  # of those that say the same, the first
        # One that is most likely right is not asked again only because the others were asked already; and a word
        # that is unlikely by itself, under every fault, contradicts nothing.
        if self._conflict(doubtful) < self.limits.doubt_from / len(self._weighed):
            return None
        others = [place for place in self.used if place != doubtful]
        against = min(others, key=lambda place: (self.slip_of(doubtful, without=place), place))
        return Doubt(self.slip, doubtful, against, explained=self.fit >= EXPLAINED)

    def _conflict(self, fact: int) -> float:
        """Probability that this result is a slip beside the others, less that of its being one alone."""
        scale = next(one for one in self._weighed if one.place == fact).scale
        key = (self.circuit, scale)
        if key not in self.memo.alone:
            alone = normalised([odd * by for odd, by in zip(self._prior, scale.likelihoods, strict=True)])
            self.memo.alone[key] = sum(odd * slip for odd, slip in zip(alone, scale.slips, strict=True))
        return self.slip_of(fact) - self.memo.alone[key]

    def contradicted(self, fact: int) -> bool:
        """Whether the others speak against this result so much that it is rather measured again than taken over."""
        return fact in self.used and self._conflict(fact) >= self.limits.doubt_from / len(self._weighed)

    def reasons(self, fault: str | None = None, most: int = 2) -> tuple[Reason, ...]:
        """The strongest results that speak for a fault, strongest first; the likeliest fault when none is named."""
        wanted = fault or next(iter(self.posterior))
        found = []
        for place in self.used:
            before = self._by_fault(self._posterior(place))
            weight = _log_odds(self.posterior.get(wanted, 0.0)) - _log_odds(before.get(wanted, 0.0))
            if weight <= 0:
                continue
            against = max(
                (name for name in before if name != wanted),
                key=lambda name: before[name] - self.posterior[name],
                default="",
            )
            found.append(Reason(place, against, weight))
        found.sort(key=lambda reason: (-reason.weight, reason.fact))
        return tuple(found[:most])

    def told_apart(self, step: Step) -> tuple[str, str] | None:
        """The two faults that this test tells apart best, weighed with how likely they are; None if it tells nothing.

        They are the likeliest faults of the two answers that part the faults most.
        """
        shares = self._hypotheses.shares.get(key_of(step))
        if not shares:
            return None
        best: tuple[float, tuple[str, str]] | None = None
        joint = {
            outcome: self._by_fault(
                [odd * share for odd, share in zip(self._posterior(), of_one, strict=True)]
            )
            for outcome, of_one in shares.items()
        }
        tops = {outcome: next(iter(faults.items())) for outcome, faults in joint.items()}
        for one, (first, odds) in tops.items():
            for other, (second, others) in tops.items():
                worth = min(odds, others)
                if one < other and first != second and (best is None or worth > best[0]):
                    best = (worth, (first, second))
        return best[1] if best and best[0] > self.limits.mention_from / 10 else None

    def best_test(self) -> tuple[Step, float] | None:
        """The test that tells most for each minute, of those not done, and its expected gain in bits.

        None if no test of the circuit's procedures would tell a tenth of a bit.
        """
        done = {measurement_key(self.library.step(fact.procedure, fact.step).measure) for fact in self.facts}
        ready = {
            preparation
            for fact in self.facts
            for preparation in preparations(self.library.step(fact.procedure, fact.step).measure)
        }
        best: tuple[float, Step, float] | None = None
        seen: set[str] = set()
        for procedure in self.library.procedures.values():
            for step in procedure.steps.values() if procedure.circuit == self.circuit else ():
                key = key_of(step)
                if key in seen or key not in self._hypotheses.shares or measurement_key(step.measure) in done:
                    continue
                seen.add(key)
                gain = self._gain(key)
                worth = gain / self._minutes(step.measure, ready)
                if gain >= 0.1 and (best is None or worth > best[0]):
                    best = (worth, step, gain)
        return (best[1], best[2]) if best else None

    def _gain(self, test: str) -> float:
        """Expected gain of information about the fault by this test, in bits."""
        shares = self._hypotheses.shares[test]
        right, wrong = channel(1.0, self.limits.misreading, len(shares))
        after = 0.0
        for of_one in shares.values():
            joint = [
                odd * (share * right + (1.0 - share) * wrong)
                for odd, share in zip(self._posterior(), of_one, strict=True)
            ]
            whole = sum(joint)
            if whole > 0:
                after += whole * _entropy([odd / whole for odd in self._by_fault(joint).values()])
        return max(0.0, _entropy(list(self.posterior.values())) - after)

    def _minutes(self, measure: Measurement, ready: set[str]) -> float:
        odds = self.knowledge.odds
        once = sum(odds.once.get(name, 0.0) for name in preparations(measure) if name not in ready)
        return odds.minutes.get(measure.instrument, 1.0) + once


def assess(
    library: Library,
    knowledge: Knowledge | None,
    circuit: str,
    facts: Sequence[WeighedResult],
    limits: Thresholds,
    memo: Memo | None = None,
) -> Assessment | None:
    """Weigh the facts on one circuit; None if nothing is known of that circuit, or there are too many facts.

    More than `Thresholds.weighed_results` are not one car with one fault any more.
    """
    if knowledge is None or circuit not in knowledge.circuits or len(facts) > limits.weighed_results:
        return None
    return Assessment(library, knowledge, circuit, tuple(facts), limits, Memo() if memo is None else memo)


def known(knowledge: Knowledge | None, circuit: str) -> bool:
    """Whether there are likelihoods for this circuit."""
    return knowledge is not None and circuit in knowledge.circuits


def _log_odds(probability: float) -> float:
    held = min(max(probability, 1e-12), 1 - 1e-12)
    return math.log(held / (1 - held))


def _entropy(shares: Sequence[float]) -> float:
    return -sum(share * math.log2(share) for share in shares if share > 0)
