"""The expected minutes of each procedure, compared with the best order of its tests.

`assistant.circuit.order` finds the best order.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit import catalogue, parameters
from assistant.circuit.looks import Key, Looks
from assistant.circuit.order import Best, Trial, best_order, minutes_of, preparation
from assistant.circuit.spoiling import bad_spark
from assistant.proof.cases import called, case_of, circuit_of, electrical
from assistant.proof.judging import Worth, judge
from assistant.proof.walk import End, followed, walk
from assistant.proof.way import story

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Measurement, Step
    from assistant.core.reasoning.odds import Odds


@dataclass(frozen=True)
class Ordered:
    """The expected minutes of a procedure and of the best order of its tests.

    `names` are the ways in which faults come about, by the numbers of the best order; `wrong` is the share of the
    odds for which the typical car does not reach a right verdict.
    """

    name: str
    minutes: float
    best: Best
    names: tuple[str, ...]
    wrong: float


def order(
    library: Library,
    odds: Odds,
    names: Sequence[str],
    progress: Callable[[float, float], None] = lambda _done, _all: None,
) -> tuple[Ordered, ...]:
    """The expected minutes of each procedure, compared with the best order of its tests.

    `progress` is called with (done, total) procedures.
    """
    wanted = electrical(library, names)
    found = []
    for name in wanted:
        found.append(_ordered(library, odds, name))
        progress(len(found), len(wanted))
    return tuple(found)


def _ordered(library: Library, odds: Odds, name: str) -> Ordered:
    circuit = circuit_of(library, name)
    presumed = library.procedures[name].presumes_no
    typical = parameters.Systems.typical()
    mechanisms = [
        one
        for one in catalogue.mechanisms(circuit)
        if one.fault in odds.prior and one.fault not in presumed and bad_spark(circuit, one, typical)[0]
    ]
    looks = Looks(library, circuit, mechanisms, typical)
    shares = looks.shares()
    ways = {one.fault: sum(other.fault == one.fault for other in mechanisms) for one in mechanisms}
    prior = [odds.prior[one.fault] / ways[one.fault] for one in mechanisms]
    procedures = followed(library, name, proven=True)
    tests: dict[tuple[Measurement, tuple[str, ...]], Trial] = {}
    likeliest: dict[Key, list[str]] = {}
    for procedure in procedures:
        for step in library.procedures[procedure].steps.values():
            outcomes = tuple(answer.outcome for answer in step.ways())
            shown = shares((procedure, step.name))[:, 0, :].argmax(axis=1)
            likeliest[procedure, step.name] = [outcomes[number] for number in shown]
            tests.setdefault(
                (step.measure, outcomes),
                Trial(
                    f"{procedure}/{step.name}",
                    odds.price(step.measure),
                    preparation(step.measure) | _acknowledged(library, [step]),
                    tuple(likeliest[procedure, step.name]),
                ),
            )
    once = {**odds.once, **{f"caution {one}": odds.each.get("caution", 0.0) for one in library.cautions}}
    spent, wrong = 0.0, 0.0
    together: dict[End, set[int]] = {}
    for number, one in enumerate(mechanisms):
        looks_of_one = _Certain(library, likeliest, number)
        walked = walk(library, name, looks_of_one.shares, (1, 1))
        end = next(iter(walked.ends))
        together.setdefault(end, set()).add(number)
        way = story(library, name, end, looks_of_one.shares)
        share = prior[number] / sum(prior)
        cautions = _acknowledged(library, [told.step for told in way])
        spent += share * minutes_of(odds, [told.step.measure for told in way])
        spent += share * sum(once[one] for one in sorted(cautions))
        astray = (Worth.WRONG_PART, Worth.WRONG_PATH)
        if end.circle or judge(library, end, case_of(one)) in astray:
            wrong += share
    best = best_order(prior, list(tests.values()), [frozenset(one) for one in together.values()], once)
    return Ordered(
        name,
        spent,
        best,
        tuple(called(case_of(one)) for one in mechanisms),
        wrong,
    )


def _acknowledged(library: Library, steps: Sequence[Step]) -> frozenset[str]:
    """The cautions of some steps that must be acknowledged, each of which costs its time only once."""
    return frozenset(
        f"caution {name}" for step in steps for name in step.cautions if library.cautions[name].acknowledge
    )


class _Certain:
    """The likeliest answer of the typical car with one mechanism, taken as certain."""

    def __init__(self, library: Library, likeliest: dict[Key, list[str]], number: int) -> None:
        self._library = library
        self._likeliest = likeliest
        self._number = number

    def shares(self, key: Key) -> NDArray[np.float64]:
        """Shape (1, 1, answers)."""
        given = self._likeliest[key][self._number]
        choices = self._library.step(*key).ways()
        return np.array([[[float(answer.outcome == given) for answer in choices]]])
