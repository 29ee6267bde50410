"""All pairs of faults led through a procedure: what two faults at once make of its verdicts.

Every way in which a fault comes about is put together with every way of every other fault, how bad each is drawn by
itself; only cars whose spark is weak or missing count.
A verdict is right when no good part is named and one of the two is found; the second one is found by the next round,
so what is left unsaid is not counted as an error.
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
"""Largest share of the cars with two faults of which an honest observer may be told that a good part is bad."""
MOST_MEAN = 0.005
"""Largest mean of that share over all pairs."""

CARS = 30
"""Random cars for each pair; few, because there are a thousand pairs."""

_AT_ONCE = 40
"""Pairs in one piece of the work."""


@dataclass(frozen=True)
class Pair:
    """Two faults: shares of the cars that count, 0 to 1.

    Attributes:
        one: Fault and way of the first.
        other: Of the second.
        cars: How many of the random cars count.
        part: Share that is told that a good part is bad.
        found: Share that ends in a verdict with one of the two faults, and no good part.
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
        entry: Name of the procedure that is started with.
        cars: Random cars for each pair.
        seed: Of the cars.
        processes: At most so many processes.
        progress: Is told the number of finished pieces of the work, and of all.

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
    """Shares of the cars that were told a good part, a fault that is there, none; and who named a good part most."""
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
    """Mean share of good parts named, over the pairs that have cars that count."""
    shares = [pair.part for pair in pairs if pair.cars]
    return float(np.mean(shares)) if shares else 0.0


def holds(pairs: Sequence[Pair]) -> bool:
    """Whether all pairs together stay in their limits."""
    return mean_of(pairs) <= MOST_MEAN and all(pair.part <= MOST_PART for pair in pairs)


def text(entry: str, pairs: Sequence[Pair], cars: int) -> str:
    """The pairs for a person: the worst ones, and the mean."""
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


def to_json(entry: str, pairs: Sequence[Pair], cars: int) -> dict[str, Any]:
    """The pairs for a program; shares from 0 to 1."""
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
                "good part": pair.part,
                "found": pair.found,
                "where": pair.where,
            }
            for pair in pairs
        ],
    }


@dataclass(frozen=True)
class Fleeting:
    """A fault that comes and goes: shares of the cars that count, 0 to 1.

    Attributes:
        name: Fault and way, with how often it is there.
        part: Share that is told that a good part is bad.
        found: Share that ends in a verdict with the fault, and no good part.
        nothing: Share that ends in no fault, or in a circle.
        where: The verdict that names a good part most often; "" for none.
    """

    name: str
    part: float
    found: float
    nothing: float
    where: str = ""


def prove_fleeting(library: Library, entry: str, *, cars: int = 100, seed: int = 1) -> list[Fleeting]:
    """Lead faults that come and go through a procedure, with an honest observer; each test by itself."""
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
    """Faults that come and go, for a person; they have no limit."""
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
