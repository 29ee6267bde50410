"""Leads all pairs of faults through a procedure, to show its verdicts for two faults at once.

Every way in which a fault comes about is combined with every way of every other fault, each with its own random
severity; only cars with a weak or missing spark count.
A verdict is right if it names no good part and finds one of the two faults; the next round finds the second, so
leaving it out is not an error.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.circuit import catalogue
from assistant.circuit.catalogue import NONE, Mechanism, combined
from assistant.circuit.looks import Looks
from assistant.circuit.observers import HONEST
from assistant.circuit.parameters import Systems
from assistant.circuit.pieces import carried_out
from assistant.proof.cases import case_of, circuit_of
from assistant.proof.judging import Case, condemns
from assistant.proof.limits import CAUTION
from assistant.proof.walk import Walk, walk

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.core.library.library import Library

MOST_PART = 0.05
"""Largest share of the cars with two faults in which an honest observer may hear that a good part is bad."""
MOST_MEAN = 0.005
"""Largest mean of that share over all pairs."""

CARS = 30
"""Random cars for each pair; few, because there are a thousand pairs."""

_AT_ONCE = 40
"""Number of pairs in one piece of the work."""


@dataclass(frozen=True)
class Pair:
    """Two faults: shares of the cars that count, 0 to 1.

    Attributes:
        one: Fault and way of the first.
        other: Fault and way of the second.
        cars: Number of random cars that count.
        part: Share that hears that a good part is bad.
        found: Share that ends in a verdict with one of the two faults and no good part.
        where: The verdict that names a good part most often; "" for none.
    """

    one: str
    other: str
    cars: float
    part: float
    found: float
    where: str = ""


def pairs_of(circuit: str) -> list[tuple[Mechanism, Mechanism]]:
    """All pairs of ways in which two different faults come about."""
    all_of_them = [one for one in catalogue.mechanisms(circuit) if one.fault != NONE]
    return [
        (one, other)
        for one, other in itertools.combinations(all_of_them, 2)
        if one.fault != other.fault
        and not {change.name for change in one.changes} & {c.name for c in other.changes}
    ]


def prove_pairs(
    library: Library,
    entry: str,
    *,
    cars: int = CARS,
    seed: int = 1,
    processes: int = 2,
    progress: Callable[[int, int], None] = lambda _done, _all: None,
) -> list[Pair]:
    """Lead all pairs of faults through a procedure, with an honest observer.

    The same library, seed and number of cars give the same figures, with any number of processes.

    Args:
        library: The procedures.
        entry: Name of the first procedure.
        cars: Number of random cars for each pair.
        seed: Seed of the cars.
        processes: Largest number of processes.
        progress: Called with (done, total) pieces of the work.

    Raises:
        UsageProblem: The procedure is unknown.
    """
    library.procedure(entry)
    pairs = pairs_of(circuit_of(library, entry))
    pieces = [(begin, min(begin + _AT_ONCE, len(pairs))) for begin in range(0, len(pairs), _AT_ONCE)]
    found: list[Pair] = []
    for number, some in enumerate(
        carried_out(_piece, (library, (entry, cars, seed)), pieces, processes), start=1
    ):
        found += some
        progress(number, len(pieces))
    return found


def _piece(library: Library, asked: tuple[str, int, int], piece: tuple[int, int]) -> list[Pair]:
    entry, cars, seed = asked
    circuit = circuit_of(library, entry)
    chosen = pairs_of(circuit)[piece[0] : piece[1]]
    both = [combined(one, other) for one, other in chosen]
    looks = Looks(library, circuit, both, Systems.random(cars, seed))
    present = looks.present()
    walked = walk(library, entry, looks.shares(HONEST), present.shape, present=present)
    found = []
    for number, ((one, other), mechanism) in enumerate(zip(chosen, both, strict=True)):
        count = float(present[number].sum())
        part, right, _, worst = _came_to(library, walked, number, case_of(mechanism), count)
        names = (f"{one.fault} ({one.name})", f"{other.fault} ({other.name})")
        found.append(Pair(*names, count, part, right, worst))
    return found


def _came_to(
    library: Library, walked: Walk, number: int, case: Case, count: float
) -> tuple[float, float, float, str]:
    """Shares of the cars that heard of a good part, of a present fault, of neither; and the verdict that named a
    good part most.
    """
    bad: dict[str, float] = {}
    right, nothing = 0.0, 0.0
    for end, flow in (*walked.ends.items(), *walked.passed.items()):
        share = float(flow.share[number]) / max(count, 1.0)
        if condemns(library, end, case):
            bad[str(end)] = bad.get(str(end), 0.0) + share
        elif end in walked.ends:
            faults = library.procedures[end.procedure].verdicts[end.verdict].faults if end.verdict else ()
            right += share * bool(set(faults) & set(case.faults))
            nothing += share * (not faults)
    worst = max(bad, key=lambda name: bad[name]) if bad else ""
    return float(np.sum(list(bad.values()))), right, nothing, worst


def mean_of(pairs: Sequence[Pair]) -> float:
    """Mean share of named good parts, over the pairs with cars that count."""
    shares = [pair.part for pair in pairs if pair.cars]
    return float(np.mean(shares)) if shares else 0.0


def holds(pairs: Sequence[Pair]) -> bool:
    """Whether all pairs together stay within their limits."""
    return mean_of(pairs) <= MOST_MEAN and all(pair.part <= MOST_PART for pair in pairs)


def text(entry: str, pairs: Sequence[Pair], cars: int) -> str:
    """The pairs as text: the worst ones, and the mean."""
    counted = [pair for pair in pairs if pair.cars]
    found = float(np.mean([pair.found for pair in counted])) if counted else 0.0
    over = [pair for pair in counted if pair.part > MOST_PART]
    lines = [
        f"{entry}: {len(pairs)} pairs of faults, {cars} random cars each, honest observer. {CAUTION}",
        (
            f"A good part is named in {mean_of(pairs):.2%} of cars on the mean (limit {MOST_MEAN:.1%}), in more than "
            f"{MOST_PART:.0%} with {len(over)} pairs; one of the two faults is found in {found:.1%}."
        ),
    ]
    lines += [
        f"  {pair.part:6.1%} of {pair.cars:3.0f}  {pair.one} + {pair.other}: {pair.where}"
        for pair in sorted(counted, key=lambda one: -one.part)[:20]
        if pair.part > 0.0005
    ]
    return "\n".join(lines) + "\n"


def to_json(
    entry: str, pairs: Sequence[Pair], cars: int, fleeting: Sequence[Fleeting] = ()
) -> dict[str, Any]:
    """The pairs, and the faults that come and go, as JSON; shares from 0 to 1."""
    return {
        "procedure": entry,
        "cars": cars,
        "caution": CAUTION,
        "limits": {"each": MOST_PART, "mean": MOST_MEAN},
        "mean": mean_of(pairs),
        "holds": holds(pairs),
        "pairs": [
            {
                "one": pair.one,
                "other": pair.other,
                "cars": pair.cars,
                "good_part": pair.part,
                "found": pair.found,
                "where": pair.where,
            }
            for pair in pairs
        ],
        "fleeting": [
            {
                "name": one.name,
                "good_part": one.part,
                "found": one.found,
                "nothing_decided": one.nothing,
                "where": one.where,
            }
            for one in fleeting
        ],
    }


@dataclass(frozen=True)
class Fleeting:
    """A fault that comes and goes: shares of the cars that count, 0 to 1.

    Attributes:
        name: Fault and way, with the share of tests at which it is present.
        part: Share that hears that a good part is bad.
        found: Share that ends in a verdict with the fault and no good part.
        nothing: Share that ends without a fault, or in a circle.
        where: The verdict that names a good part most often; "" for none.
    """

    name: str
    part: float
    found: float
    nothing: float
    where: str = ""


def prove_fleeting(library: Library, entry: str, *, cars: int = 100, seed: int = 1) -> list[Fleeting]:
    """Lead intermittent faults through a procedure, with an honest observer; each test is independent."""
    circuit = circuit_of(library, entry)
    known = {one.fault for one in catalogue.mechanisms(circuit)}
    chosen = [one for one in catalogue.INTERMITTENT if one.fault in known]
    looks = Looks(library, circuit, chosen, Systems.random(cars, seed))
    present = looks.present()
    walked = walk(library, entry, looks.shares(HONEST), present.shape, present=present)
    found = []
    for number, mechanism in enumerate(chosen):
        count = float(present[number].sum())
        part, right, nothing, where = _came_to(library, walked, number, case_of(mechanism), count)
        found.append(Fleeting(f"{mechanism.fault} ({mechanism.name})", part, right, nothing, where))
    return found


def fleeting_text(entry: str, found: Sequence[Fleeting]) -> str:
    """Intermittent faults as text; they have no limit."""
    lines = [
        (
            f"{entry}: faults that come and go, there at each test with a probability, honest observer; no limit: "
            "a fault that is away at the deciding test cannot be told from none."
        )
    ]
    lines += [
        f"  good part {one.part:6.1%}, found {one.found:6.1%}, nothing decided {one.nothing:6.1%}  {one.name}"
        + (f": {one.where}" if one.part > 0.0005 else "")
        for one in found
    ]
    return "\n".join(lines) + "\n"
