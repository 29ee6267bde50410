"""What the results of a session say about the faults: likelihoods, posterior, contradictions, what would tell.

Pure: the likelihoods and the prior odds are handed in as one value, `Knowledge`; without it nothing is claimed.

The model
---------
A **hypothesis** is one way in which a fault comes about in one car (a mechanism in one random system).
For each test and hypothesis the table holds the share of each outcome that an observer who reports what he sees
would give.  Results are independent given a hypothesis, so what two tests have in common because it is the same
car is kept.

What is recorded need not be what was to be seen: eyes misread, ears mishear, fingers slip.
With n outcomes, an outcome that was to be seen is recorded with probability ``a``, and any other with
``b = (1 - a) / (n - 1)`` (a symmetric channel), where::

    a = c (1 - m) + (1 - c) m / (n - 1)

with m the rate of misreading and c the probability that the recorded word or key is the one that was meant.
So a result with share p has the likelihood ``p a + (1 - p) b``, and its second part over the whole, averaged over
the posterior, is the probability that this result is a slip.
The posterior is Bayes' rule; the weight of a reason is the change of log odds that a result makes (I. J. Good,
"Probability and the Weighing of Evidence", 1950); the worth of a test is its expected gain of information
(D. V. Lindley, Annals of Mathematical Statistics 27, 1956) for each minute.

The faults of the catalogue are taken as all that there are, and one at a time: shares are among these.
The likelihoods come from a circuit model with no bench measurement behind it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from assistant.core.library.library import Library
from assistant.core.reasoning.knowledge import Hypotheses, Knowledge, key_of, measurement_key
from assistant.core.reasoning.odds import preparations
from assistant.core.values.thresholds import Thresholds

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.core.library.procedure import Measurement, Step

EXPLAINED = 0.05
"""Results that one fault explains at least so well do fit together, however rare that fault is (chosen)."""


_MOST_SCALES = 160
"""How many likelihoods a `Memo` keeps: more than results are weighed together, some 40 kB each."""

_LIFTED_EVERY = 8
_VERY_SMALL = 2.0**-400
"""Odds are looked at after so many results, and lifted when they are smaller: no double gets lost on the way."""


@dataclass(frozen=True)
class Fact:
    """A result that counts.

    Attributes:
        procedure: Name of the procedure.
        step: Name of the step.
        outcome: Name of the answer or band.
        sure: Probability that this is what was said or keyed, 0 to 1.
        kept: Taken over from an earlier step with the same measurement, not measured again.
        times: How often the same was found at this step; 2 after it was asked again and confirmed.
    """

    procedure: str
    step: str
    outcome: str
    sure: float
    kept: bool = False
    times: int = 1


def sureness(how: str, confidence: float, confirmed: str, limits: Thresholds) -> float:
    """Probability that the recorded word or key is the one that was meant, 0 to 1.

    The recogniser's confidence is a probability; a key slips at the rate `Thresholds.key_slip`.
    A read-back lets a part of the errors through: half of them when it is spoken inside the next sentence, a
    tenth when it must be affirmed (chosen, not fitted).

    Args:
        how: ``voice`` or ``keypad``.
        confidence: Of the recogniser, 0 to 1.
        confirmed: ``taken``, ``read back`` or ``affirmed``.
        limits: The dialogue's limits.
    """
    wrong = 1.0 - confidence if how == "voice" else limits.key_slip
    passed = {"affirmed": 0.1, "read back": 0.5}.get(confirmed, 1.0)
    return 1.0 - min(max(wrong, 0.0), 0.5) * passed


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


@dataclass(frozen=True, eq=False)
class _Scale:
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


@dataclass(frozen=True)
class _Weighed:
    """A fact with its place among all facts, and what it says."""

    place: int
    scale: _Scale


@dataclass
class Memo:
    """What was computed for one assessment and is the same in the next: names of tests, priors, likelihoods.

    It changes no result, only the time that one takes; so that a long session keeps a bounded one, the likelihoods
    are forgotten when there are more than `most`.
    """

    most: int = _MOST_SCALES

    names: dict[tuple[str, str], tuple[str, str]] = field(default_factory=dict)
    priors: dict[str, list[float]] = field(default_factory=dict)
    alone: dict[tuple[str, _Scale], float] = field(default_factory=dict)
    scales: dict[tuple[str, str, str, float, float], _Scale] = field(default_factory=dict)

    def scale(self, key: tuple[str, str, str, float, float], shares: tuple[float, ...]) -> _Scale:
        """The scale of this circuit, test, outcome, a and b."""
        if key not in self.scales:
            if len(self.scales) >= self.most:
                self.scales.clear()
                self.alone.clear()
            self.scales[key] = _Scale(shares, key[3], key[4])
        return self.scales[key]


@dataclass(frozen=True)
class Assessment:
    """What the facts say, on one circuit.

    Attributes:
        library: The procedures.
        knowledge: What they are weighed with.
        circuit: Name of the circuit.
        facts: The results that count, in their order; those of other circuits or unknown tests say nothing.
        limits: The dialogue's limits.
        memo: What earlier assessments with the same library computed.
    """

    library: Library
    knowledge: Knowledge
    circuit: str
    facts: tuple[Fact, ...]
    limits: Thresholds
    memo: Memo = field(default_factory=Memo, compare=False, repr=False)
    _cache: dict[int | None, list[float]] = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def _hypotheses(self) -> Hypotheses:
        return self.knowledge.circuits[self.circuit]

    @cached_property
    def _prior(self) -> list[float]:
        if self.circuit not in self.memo.priors:
            faults = self._hypotheses.faults
            odds = self.knowledge.odds.used(self.circuit)
            counts = {name: faults.count(name) for name in set(faults)}
            self.memo.priors[self.circuit] = _normalised(
                [odds.get(name, 0.0) / counts[name] for name in faults]
            )
        return self.memo.priors[self.circuit]

    def _names(self, procedure: str, step: Step) -> tuple[str, str]:
        """`key_of` and `measurement_key` of a step, by name."""
        names = self.memo.names.get((procedure, step.name))
        if names is None:
            names = self.memo.names[procedure, step.name] = (key_of(step), measurement_key(step.measure))
        return names

    @cached_property
    def counted(self) -> int:
        """How many findings of the shop are in the odds before any test: cars with a fault of this circuit."""
        odds = self.knowledge.odds
        cars = odds.findings.on(self.circuit) if odds.weight_cars else {}
        return round(sum(cars.get(fault, 0.0) for fault in set(self._hypotheses.faults)))

    @cached_property
    def _weighed(self) -> tuple[_Weighed, ...]:
        found: list[_Weighed] = []
        measured: set[str] = set()
        for place, fact in enumerate(self.facts):
            procedure = self.library.procedures.get(fact.procedure)
            if procedure is None or procedure.circuit != self.circuit or fact.step not in procedure.steps:
                continue
            test, measurement = self._names(fact.procedure, procedure.steps[fact.step])
            shares = self._hypotheses.shares.get(test, {})
            if fact.outcome not in shares or (fact.kept and measurement in measured):
                continue
            measured.add(measurement)
            right, wrong = _channel(fact.sure, self.limits.misreading, len(shares))
            key = (self.circuit, test, fact.outcome, right**fact.times, wrong**fact.times)
            found.append(_Weighed(place, self.memo.scale(key, shares[fact.outcome])))
        return tuple(found)

    def _posterior(self, without: int | None = None) -> list[float]:
        """Probability of each hypothesis, with all facts or without one of them."""
        if without not in self._cache:
            odds = list(self._prior)
            for count, weighed in enumerate(self._weighed, start=1):
                if weighed.place != without:
                    odds = [odd * by for odd, by in zip(odds, weighed.scale.likelihoods, strict=True)]
                if count % _LIFTED_EVERY == 0:
                    odds = _lifted(odds)
            self._cache[without] = _normalised(odds)
        return self._cache[without]

    def _by_fault(self, hypotheses: Sequence[float]) -> dict[str, float]:
        sums: dict[str, float] = {}
        for fault, probability in zip(self._hypotheses.faults, hypotheses, strict=True):
            sums[fault] = sums.get(fault, 0.0) + probability
        return dict(sorted(sums.items(), key=lambda item: (-item[1], item[0])))

    @property
    def used(self) -> tuple[int, ...]:
        """Places of the facts that say something."""
        return tuple(weighed.place for weighed in self._weighed)

    @cached_property
    def posterior(self) -> dict[str, float]:
        """Probability of each fault, likeliest first; sums to 1."""
        return self._by_fault(self._posterior())

    def remaining(self, share: float) -> dict[str, float]:
        """Faults with at least this probability, likeliest first."""
        return {fault: odds for fault, odds in self.posterior.items() if odds >= share}

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
        """How well the one fault that explains them best explains all results without a slip, 0 to 1.

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
        """The results that do not fit together, when a slip is likely enough; None when all fits.

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
        """How much likelier a slip this result is beside the others than alone, as a difference of probabilities."""
        scale = next(one for one in self._weighed if one.place == fact).scale
        key = (self.circuit, scale)
        if key not in self.memo.alone:
            alone = _normalised([odd * by for odd, by in zip(self._prior, scale.likelihoods, strict=True)])
            self.memo.alone[key] = sum(odd * slip for odd, slip in zip(alone, scale.slips, strict=True))
        return self.slip_of(fact) - self.memo.alone[key]

    def contradicted(self, fact: int) -> bool:
        """Whether the others speak against this result so much that it is rather measured again than taken over."""
        return fact in self.used and self._conflict(fact) >= self.limits.doubt_from / len(self._weighed)

    def measurement(self, fact: int) -> str:
        """The name of the measurement (`measurement_key`) of the fact at this place."""
        procedure, step = self.facts[fact].procedure, self.facts[fact].step
        return self._names(procedure, self.library.step(procedure, step))[1]

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

        None when no test of the circuit's procedures would tell a tenth of a bit.
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
        right, wrong = _channel(1.0, self.limits.misreading, len(shares))
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
    facts: Sequence[Fact],
    limits: Thresholds,
    memo: Memo | None = None,
) -> Assessment | None:
    """Weigh the facts on one circuit; None when nothing is known of that circuit, or there are too many facts.

    More than `Thresholds.weighed_results` are not one car with one fault any more.
    """
    if knowledge is None or circuit not in knowledge.circuits or len(facts) > limits.weighed_results:
        return None
    return Assessment(library, knowledge, circuit, tuple(facts), limits, Memo() if memo is None else memo)


def known(knowledge: Knowledge | None, circuit: str) -> bool:
    """Whether there are likelihoods for this circuit."""
    return knowledge is not None and circuit in knowledge.circuits


def _channel(sure: float, misreading: float, count: int) -> tuple[float, float]:
    """Probabilities that an outcome is recorded when it was, and when it was not, the one to be seen."""
    right = sure * (1.0 - misreading) + (1.0 - sure) * misreading / (count - 1)
    return right, (1.0 - right) / (count - 1)


def _normalised(odds: Sequence[float]) -> list[float]:
    whole = sum(odds)
    return [odd / whole for odd in odds]


def _lifted(odds: list[float]) -> list[float]:
    """The same odds times a power of two, which rounds nothing, where many results have made them very small."""
    top = max(odds)
    if not 0.0 < top < _VERY_SMALL:
        return odds
    by = 2.0 ** min(-math.frexp(top)[1], 1000)
    return [odd * by for odd in odds]


def _log_odds(probability: float) -> float:
    held = min(max(probability, 1e-12), 1 - 1e-12)
    return math.log(held / (1 - held))


def _entropy(shares: Sequence[float]) -> float:
    return -sum(share * math.log2(share) for share in shares if share > 0)
