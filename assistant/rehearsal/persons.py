"""Persons for a rehearsal: they answer as an honest observer of one car would, except for the errors of a busy bay.

Eyes misread, and probes miss: `Habit` says how often.  Both are drawn anew at each test, also when the dialogue asks
the same again.  The rates are given, not measured.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from assistant.circuit.catalogue import CIRCUITS
from assistant.circuit.instruments import REGISTRY
from assistant.circuit.likelihoods import model_shares
from assistant.circuit.observers import can_miss
from assistant.circuit.observing import observe
from assistant.circuit.problems import CircuitProblem
from assistant.core.library.procedure import Answer, Limit
from assistant.core.library.vocabulary import OVER_RANGE, UNJUDGED
from assistant.core.reasoning.knowledge import key_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.circuit.catalogue import Mechanism
    from assistant.circuit.parameters import Systems
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Band, Step

NEVER_MISREAD = ("told", "diagram", "check")
"""Instruments that nobody reads: known facts, things to look up, things to do."""


DECIMALS = {"V": 2, "A": 1, "ohm": 1, "ms": 1}
"""Decimals that a common meter shows of each unit; common practice, no source."""


@dataclass(frozen=True)
class Habit:
    """The errors that a person makes.

    Attributes:
        name: In a few words.
        misreading: Share of answers in place of which any other answer of the step is given, all alike.
        missing: Share of probings in which the probe makes no contact.
    """

    name: str
    misreading: float = 0.0
    missing: float = 0.0


@dataclass(frozen=True)
class Given:
    """A report: an answer, and for a meter its number in the step's unit; None for over range, or no number."""

    answer: Answer
    value: Decimal | None = None


class Bay:
    """Cars of one circuit, and their test results: each test is observed once, on all cars.

    Args:
        library: The procedures.
        circuit: The circuit of the cars.
        systems: The cars.
    """

    def __init__(self, library: Library, circuit: str, systems: Systems) -> None:
        self.library = library
        self.circuit = circuit
        self.systems = systems
        self._keys: dict[tuple[str, str], str] = {}
        self._seen: dict[tuple[Mechanism, str, str], _Seen | None] = {}

    def seen(self, mechanism: Mechanism, procedure: str, step: Step) -> _Seen | None:
        """Results of a step on all cars with this fault; None if the model cannot simulate the step."""
        named = (procedure, step.name)
        if named not in self._keys:
            self._keys[named] = key_of(step)
        of = self.library.procedures[procedure].circuit
        # A procedure for battery and starter is met by a car of any circuit; every other one by its own.
        circuit = of if of in CIRCUITS and CIRCUITS[of].only else self.circuit
        key = (mechanism, circuit, self._keys[named])
        if key not in self._seen:
            self._seen[key] = self._look(circuit, mechanism, step)
        return self._seen[key]

    def _look(self, circuit: str, mechanism: Mechanism, step: Step) -> _Seen | None:
        try:
            shares = model_shares(circuit, mechanism, step, self.systems)
            values = observe(circuit, mechanism, step.measure, self.systems).value
        except CircuitProblem:
            return None
        return _Seen(np.cumsum(shares, axis=1), values if step.reading else None)


@dataclass(frozen=True, eq=False)
class _Seen:
    """Cumulated shares of the answers, shape (cars, answers), and what a meter shows, shape (cars,)."""

    cumulated: NDArray[np.float64]
    values: NDArray[np.float64] | None


class Person:
    """Answers at one car.

    Args:
        bay: The cars.
        mechanism: The fault of the car.
        car: Its number.
        habit: The errors that the person makes.
        seed: Of what is left to chance.
    """

    def __init__(self, bay: Bay, mechanism: Mechanism, car: int, habit: Habit, seed: str) -> None:
        self._bay, self._mechanism, self._car, self._habit = bay, mechanism, car, habit
        self._chance = random.Random(seed)  # noqa: S311  a rehearsal, not a secret
        self.given = 0
        self.missed = 0
        self.misread = 0

    def answer(self, procedure: str, step: Step) -> Given:
        """The person's report at this step."""
        self.given += 1
        choices = step.choices()
        instrument = step.measure.instrument
        if can_miss(step.measure) and self._chance.random() < self._habit.missing:
            missed = _without_contact(step)
            if missed is not None:
                self.missed += 1
                return missed
        given = self._honest(procedure, step, choices)
        if instrument not in NEVER_MISREAD and self._chance.random() < self._habit.misreading:
            others = [one for one in choices if one.outcome not in (given.answer.outcome, UNJUDGED)]
            if others:
                self.misread += 1
                other = self._chance.choice(others)
                return Given(other, _within(step, other.outcome))
        return given

    def _honest(self, procedure: str, step: Step, choices: tuple[Answer, ...]) -> Given:
        seen = self._bay.seen(self._mechanism, procedure, step)
        if seen is None:
            good = step.answer(step.good or "") or choices[0]
            return Given(good, _within(step, good.outcome))
        answer = choices[self._chosen(seen.cumulated[self._car])]
        if seen.values is None:
            return Given(answer, _within(step, answer.outcome))
        return Given(answer, _number(step, answer.outcome, float(seen.values[self._car])))

    def _chosen(self, cumulated: NDArray[np.float64]) -> int:
        """The number of the answer that is given, of these cumulated shares."""
        drawn = self._chance.random() * cumulated[-1]
        return min(int(np.searchsorted(cumulated, drawn, side="right")), len(cumulated) - 1)


def _without_contact(step: Step) -> Given | None:
    """The report when the probe touches nothing; None if that is not an answer, so that one looks again."""
    if step.reading is not None:
        if step.reading.unit == "ohm":
            return Given(step.reading.bands[-1])
        zero = Decimal(0)
        band = next((one for one in step.reading.bands if _holds(one, zero)), None)
        return Given(band or step.reading.bands[0], zero)
    answer = step.answer(REGISTRY[step.measure.instrument].missed)
    return Given(answer) if answer is not None and step.measure.compared_with is None else None


def _holds(band: Band, value: Decimal) -> bool:
    low, high = band.low, band.high
    above = not isinstance(low, Decimal) or value >= low
    below = not isinstance(high, Decimal) or value < high
    return above and below and (isinstance(low, Decimal) or isinstance(high, Decimal))


def _edges(step: Step, outcome: str) -> tuple[Decimal, Decimal]:
    """Lowest and highest number of a band, as far as the step gives them; the plausible ones elsewhere."""
    assert step.reading is not None  # noqa: S101
    low, high = step.reading.plausible
    band = next((one for one in step.reading.bands if one.outcome == outcome), None)
    if band is None:
        return low, high

    def known(limit: Limit | None, other: Decimal) -> Decimal:
        return limit if isinstance(limit, Decimal) else other

    return known(band.low, low), known(band.high, high)


def _within(step: Step, outcome: str) -> Decimal | None:
    """A number in the middle of a band: for a misreading, or if the model has no number."""
    if step.reading is None:
        return None
    low, high = _edges(step, outcome)
    return (low + high) / 2


def _number(step: Step, outcome: str, value: float) -> Decimal | None:
    """The meter's reading in three digits, as far as it shows them, moved into the band that it is taken for."""
    assert step.reading is not None  # noqa: S101
    low, high = _edges(step, outcome)
    if not np.isfinite(value):
        over = step.reading.unit == "ohm" and outcome == step.reading.bands[-1].outcome
        return None if over else (low + high) / 2
    shown = round(Decimal(f"{value:.3g}"), DECIMALS.get(step.reading.unit, 1))
    if low <= shown < high:
        return shown
    return low if shown < low else high - (high - low) / 1000


def spoken_value(given: Given) -> tuple[str | None, str | None]:
    """Outcome and number that say a meter's reading: the number if there is one, else "over range"."""
    if given.value is None:
        return OVER_RANGE, None
    return None, format(given.value, "f")


class Skilled(Person):
    """A technician who reports what is likeliest to be seen."""

    def __init__(
        self, bay: Bay, mechanism: Mechanism, car: int, answers: Mapping[str, tuple[str, ...]]
    ) -> None:
        super().__init__(bay, mechanism, car, Habit("skilled"), "skilled")
        self._answers = answers
        self._asked: Counter[str] = Counter()

    def answer(self, procedure: str, step: Step) -> Given:
        """What this step gives."""
        outcomes = self._answers.get(step.name, ())
        if not outcomes:
            return super().answer(procedure, step)
        outcome = outcomes[min(self._asked[step.name], len(outcomes) - 1)]
        self._asked[step.name] += 1
        given = step.answer(outcome)
        return super().answer(procedure, step) if given is None else Given(given)

    def _chosen(self, cumulated: NDArray[np.float64]) -> int:
        return int(np.argmax(np.diff(cumulated, prepend=0.0)))
