"""The likelihoods that weigh the results of a session: made from the circuit model, kept as a file.

For every test of the procedures and every way in which a fault comes about, the model gives an observer's answers
over random systems with a fixed seed.
A session computes none of it: the table is a file beside the procedures (``likelihoods.json``), so that a
session starts as fast as without, a session's folder can hold a copy of exactly what it was weighed with, and what
the table says can be read and compared.
A test makes it again and fails if the shipped file differs.

The shares come from a model with no bench measurement behind it; that the systems are uniform within their ranges
was chosen.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from assistant.circuit.answers import answer_shares
from assistant.circuit.catalogue import CIRCUITS, NONE, Mechanism, mechanisms
from assistant.circuit.observing import VERSION, observe
from assistant.circuit.parameters import Systems
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.spoiling import bad_spark
from assistant.core.reasoning.knowledge import FORMAT, FULL, key_of

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Step

SYSTEMS = 16
"""Random systems for each mechanism."""

POOL = 6
"""Factor by which more cars are drawn, of which the first that count are taken: a car that sparks well has no
such fault.
"""

SEED = 20261125

CALLED_STEADY = 0.4
"""Share of wavering lamps that are called steady: a person who knows that a slow waver comes from the starter may
mean "no blink" by it. Chosen, not fitted.
"""

Shares = Callable[[str, Mechanism, "Step", Systems], NDArray[np.float64]]
"""Shares of the answers of a step, shape (systems, answers), each row summing to 1."""


def model_shares(circuit: str, mechanism: Mechanism, step: Step, systems: Systems) -> NDArray[np.float64]:
    """Answers of an honest observer, as shares of shape (systems, answers).

    They leave out misreading: a session adds its own rate.

    Raises:
        CircuitProblem: The circuit cannot have this measurement.
    """
    shares = np.array(answer_shares(observe(circuit, mechanism, step.measure, systems), step))
    shares = shares[:, : len(step.choices())]  # with the maker's values every reading is judged
    names = [answer.outcome for answer in step.answers]
    if {"steady", "flickering"} <= set(names):
        calm = [names.index(name) for name in ("steady", "lit") if name in names]
        waver = names.index("flickering")
        for place in calm:
            shares[:, place] += CALLED_STEADY / len(calm) * shares[:, waver]
        shares[:, waver] *= 1.0 - CALLED_STEADY
    return shares


def all_tests(library: Library, circuit: str) -> dict[str, Step]:
    """Every different test of the procedures of a circuit, by its key."""
    return {
        key_of(step): step
        for procedure in library.procedures.values()
        if procedure.circuit == circuit
        for step in procedure.steps.values()
    }


def weighed_circuits(library: Library) -> dict[str, list[Mechanism]]:
    """Circuits of the procedures with the ways in which their faults come about; a circuit with only one fault is
    not weighed.
    """
    found = {
        circuit: [
            way for way in mechanisms(circuit) if way.fault != NONE and way.fault in library.terms.faults
        ]
        for circuit in sorted(
            {procedure.circuit for procedure in library.procedures.values()} & set(CIRCUITS)
        )
    }
    return {circuit: ways for circuit, ways in found.items() if len({way.fault for way in ways}) > 1}


def table(
    library: Library,
    *,
    systems: int = SYSTEMS,
    seed: int = SEED,
    shares: Shares = model_shares,
    progress: Callable[[int, int], None] = lambda _done, _all: None,
) -> dict[str, Any]:
    """The likelihoods of all procedures whose circuit the model knows, as they stand in the file.

    It leaves out tests that the model cannot have (a look at something outside the circuit), whose results are
    recorded but not weighed.

    Args:
        library: The procedures.
        systems: Number of random systems for each mechanism.
        seed: Seed of the systems.
        shares: Gives the shares of the answers; the circuit model by default.
        progress: Called before each test with how much is done and how much there is: mechanisms of all tests.
    """
    cars = Systems.random(systems * POOL, seed)
    circuits: dict[str, Any] = {}
    weighed = weighed_circuits(library)
    whole, done = sum(len(ways) * len(all_tests(library, circuit)) for circuit, ways in weighed.items()), 0
    for circuit, ways in weighed.items():
        rows: dict[str, dict[str, str]] = {}
        counting = [_that_count(circuit, way, cars, systems) for way in ways]
        for key, step in sorted(all_tests(library, circuit).items()):
            progress(done, whole)
            done += len(ways)
            try:
                found = np.concatenate(
                    [
                        shares(circuit, way, step, cars)[numbers]
                        for way, numbers in zip(ways, counting, strict=True)
                    ]
                )
            except CircuitProblem:
                continue
            digits = _digits(found)
            rows[key] = {answer.outcome: digits[place] for place, answer in enumerate(step.choices())}
        circuits[circuit] = {
            "systems": systems,
            "mechanisms": [[way.fault, way.name] for way in ways],
            "tests": rows,
        }
    body = {"model": VERSION, "seed": seed, "circuits": circuits}
    version = hashlib.sha256(json.dumps(body, sort_keys=True).encode()).hexdigest()[:12]
    about = (
        f"Shares of the answers of each test, in 1/{FULL}, two hexadecimal digits a mechanism and random system. "
        "From a circuit model with no bench measurement behind it. "
        "Written by: bay-assistant lint --write-likelihoods"
    )
    return {"format": FORMAT, "about": about, "version": version, **body}


def _that_count(circuit: str, way: Mechanism, cars: Systems, count: int) -> NDArray[np.int64]:
    """Numbers of the first cars whose spark this fault spoils; if there are too few, they repeat."""
    found = np.flatnonzero(bad_spark(circuit, way, cars))
    if not len(found):
        found = np.arange(cars.count)
    return np.resize(found, count)


def _digits(shares: NDArray[np.float64]) -> list[str]:
    """A column of digits for each answer; each row is rounded so that it sums to `FULL`."""
    scaled = shares / shares.sum(axis=1, keepdims=True) * FULL
    whole = np.floor(scaled).astype(int)
    # The largest remainders are rounded up: the sum stays, and the same shares give the same digits.
    missing = FULL - whole.sum(axis=1)
    order = np.argsort(whole - scaled, axis=1, kind="stable")
    for row, count in enumerate(missing):
        whole[row, order[row, :count]] += 1
    return [bytes(column.tolist()).hex() for column in whole.T]


def to_bytes(body: Mapping[str, Any]) -> bytes:
    """The contents of the file."""
    return json.dumps(body, indent=1, sort_keys=True).encode() + b"\n"


def largest_difference(one: Mapping[str, Any], other: Mapping[str, Any]) -> float:
    """The largest difference of a share between two tables, 0 to 1; 1 when they are of different tests.

    Two machines may round a share differently in its last digit, so tables are compared by this and not by bytes.
    """
    worst = 0
    if set(one["circuits"]) != set(other["circuits"]):
        return 1.0
    for circuit, part in one["circuits"].items():
        with_it = other["circuits"][circuit]
        if (part["systems"], part["mechanisms"]) != (with_it["systems"], with_it["mechanisms"]):
            return 1.0
        if set(part["tests"]) != set(with_it["tests"]):
            return 1.0
        for key, columns in part["tests"].items():
            for outcome, digits in columns.items():
                pairs = zip(bytes.fromhex(digits), bytes.fromhex(with_it["tests"][key][outcome]), strict=True)
                worst = max([worst, *(abs(a - b) for a, b in pairs)])
    return worst / FULL
