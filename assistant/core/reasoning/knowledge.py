"""Knowledge that a session reasons with: the likelihoods of a circuit model, and prior odds.

Tests are named in the table by what is measured and which answers it can end in (`key_of`).
"""

from __future__ import annotations

import functools
import json
import operator
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from assistant.core.reasoning.odds import Odds
from assistant.errors import MALFORMED, FileProblem

if TYPE_CHECKING:
    from assistant.core.library.procedure import Measurement, Step

MOST_HYPOTHESES = 100_000
"""Most hypotheses of one circuit, mechanisms times cars; the largest of this program has some hundreds."""

FORMAT = "bay-assistant likelihoods"
FULL = 200
"""A share of 1 in the file: a share has two hexadecimal digits, so its step is half a per cent."""


def key_of(step: Step) -> str:
    """The name of a test in the table: its measurement, and the answers or bands that it can end in.

    Two steps with the same measurement and the same answers are one test; a band with another limit is another.
    """
    if step.reading:
        ends = ",".join(f"{band.outcome}<{band.high}" for band in step.reading.bands)
        # Only where there is one, so that the names of all other tests stay as they were.
        less = f"-{step.reading.subtract}" if step.reading.subtract else ""
        at_20 = f"@{step.reading.at_20_celsius}" if step.reading.at_20_celsius else ""
        ends = f"{step.reading.unit}{less}{at_20}:{ends}"
    else:
        ends = ",".join(sorted(answer.outcome for answer in step.answers))
    return f"{measurement_key(step.measure)}|{ends}"


def measurement_key(measure: Measurement) -> str:
    """The name of a measurement, whatever its answers are."""
    parts = (measure.instrument, measure.clip, measure.probe, measure.engine.value)
    more = (",".join(sorted(measure.unplugged)), measure.compared_with)
    return "|".join(part or "" for part in (*parts, *more))


@dataclass(frozen=True)
class Hypotheses:
    """The hypotheses of one circuit and what each test shows under them.

    Attributes:
        faults: Fault of each hypothesis; hypotheses of the same fault weigh the same.
        shares: Test to outcome to the share of that outcome, 0 to 1, for each hypothesis in order; over the
            outcomes they sum to 1.
    """

    faults: tuple[str, ...]
    shares: Mapping[str, Mapping[str, tuple[float, ...]]]


@dataclass(frozen=True)
class Knowledge:
    """Likelihoods and prior odds, which a session reasons with.

    Attributes:
        version: Checksum of the likelihoods; the header of a session names it.
        circuits: Hypotheses by the name of the circuit.
        odds: Prior odds of faults and minutes of tests.
    """

    version: str
    circuits: Mapping[str, Hypotheses]
    odds: Odds


def parse_table(data: bytes, path: str) -> tuple[str, dict[str, Hypotheses]]:
    """The version and the hypotheses of each circuit from ``likelihoods.json``.

    Args:
        data: The bytes of the file.
        path: Its name for messages.

    Raises:
        FileProblem: `bay-assistant lint --write-likelihoods` did not write it.
    """
    try:
        version, circuits = _table(data)
    except MALFORMED as error:
        raise FileProblem(
            path,
            0,
            f"these are not the likelihoods of a circuit model ({type(error).__name__}: {error})",
            "Write them again: bay-assistant lint --write-likelihoods",
        ) from error
    return version, dict(circuits)


@functools.lru_cache(maxsize=2)
def _table(data: bytes) -> tuple[str, dict[str, Hypotheses]]:
    """A session reads its own copy of the table besides the shipped one; both are mostly the same bytes."""
    body = json.loads(data)
    circuits = {str(name): _hypotheses(part) for name, part in body["circuits"].items()}
    return {FORMAT: str(body["version"])}[body["format"]], circuits


def _hypotheses(part: Mapping[str, Any]) -> Hypotheses:
    systems = int(part["systems"])
    if not 1 <= systems * len(part["mechanisms"]) <= MOST_HYPOTHESES:
        raise ValueError(
            f"{len(part['mechanisms'])} mechanisms with {systems} systems each; at most {MOST_HYPOTHESES} in all"
        )
    faults = tuple(str(fault) for fault, _ in part["mechanisms"] for _ in range(systems))
    tests: dict[str, dict[str, tuple[float, ...]]] = {}
    for test, outcomes in part["tests"].items():
        columns = {str(name): bytes.fromhex(digits) for name, digits in outcomes.items()}
        if len(columns) < 2 or any(len(column) != len(faults) for column in columns.values()):
            raise ValueError(f"the test {test} does not have a share for each of {len(faults)} hypotheses")
        sums = list(map(sum, zip(*columns.values(), strict=True)))
        if min(sums) <= 0:
            raise ValueError(f"the test {test} has no outcome under one of the hypotheses")
        tests[str(test)] = {
            name: tuple(map(operator.truediv, column, sums)) for name, column in columns.items()
        }
    if not faults:
        raise ValueError("there is no hypothesis")
    return Hypotheses(faults, tests)
