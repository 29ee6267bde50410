"""The probability of each fault after the results that count; `reasoning/evidence.py` has the model."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from assistant.core.library.library import Library
from assistant.core.reasoning.knowledge import Hypotheses, Knowledge, key_of, measurement_key
from assistant.core.reasoning.scales import LIFTED_EVERY, Memo, Scale, channel, lifted, normalised
from assistant.core.values.thresholds import Thresholds

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.core.library.procedure import Step


@dataclass(frozen=True)
class WeighedResult:
    """A result that counts.

    Attributes:
        procedure: Name of the procedure.
        step: Name of the step.
        outcome: Name of the answer or band.
        sure: Probability that this is what was said or keyed, 0 to 1.
        kept: Taken over from an earlier step with the same measurement, not measured again.
        times: Number of times that the same was found at this step; 2 after it was asked again and confirmed.
    """

    procedure: str
    step: str
    outcome: str
    sure: float
    kept: bool = False
    times: int = 1


_BY_FINGER = ("keypad", "tablet")
"""Ways of an answer that slip at one rate, whatever is answered."""


def sureness(how: str, confidence: float, confirmed: str, limits: Thresholds) -> float:
    """Probability that the recorded word or key is the one that was meant, 0 to 1.

    The recogniser's confidence is a probability, and so is the ear's (of the starter); a key slips at the rate
    `Thresholds.key_slip`.  A meter's number is neither heard nor keyed: nothing is between display and record.
    A read-back lets a part of the errors through: half of them when it is spoken inside the next sentence, a
    tenth when it must be affirmed (chosen, not fitted).

    Args:
        how: ``voice``, ``keypad``, ``tablet``, ``ear``, ``meter`` or ``clamp``.
        confidence: Of the recogniser, or as what perceived it states it, 0 to 1.
        confirmed: ``taken``, ``read back`` or ``affirmed``.
        limits: The dialogue's limits.
    """
    wrong = limits.key_slip if how in _BY_FINGER else 1.0 - confidence
    passed = {"affirmed": 0.1, "read back": 0.5}.get(confirmed, 1.0)
    return 1.0 - min(max(wrong, 0.0), 0.5) * passed


@dataclass(frozen=True)
class _Weighed:
    """A fact with its place among all facts, and what it says."""

    place: int
    scale: Scale


@dataclass(frozen=True)
class Posterior:
    """The probability of each fault after the results, on one circuit.

    Attributes:
        library: The procedures.
        knowledge: Likelihoods and odds to weigh with.
        circuit: Name of the circuit.
        facts: The results that count, in their order; those of other circuits or unknown tests say nothing.
        limits: The dialogue's limits.
        memo: Figures that earlier assessments with the same library computed.
    """

    library: Library
    knowledge: Knowledge
    circuit: str
    facts: tuple[WeighedResult, ...]
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
            self.memo.priors[self.circuit] = normalised(
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
        """Number of the shop's findings that the prior odds count: cars with a fault of this circuit."""
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
            right, wrong = channel(fact.sure, self.limits.misreading, len(shares))
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
                if count % LIFTED_EVERY == 0:
                    odds = lifted(odds)
            self._cache[without] = normalised(odds)
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

    def measurement(self, fact: int) -> str:
        """The name of the measurement (`measurement_key`) of the fact at this place."""
        procedure, step = self.facts[fact].procedure, self.facts[fact].step
        return self._names(procedure, self.library.step(procedure, step))[1]
