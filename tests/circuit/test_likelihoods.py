"""The table of likelihoods: current, complete, and worth what it is said to be."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shipped import shipped_folder

from assistant.circuit import likelihoods
from assistant.circuit.catalogue import Mechanism
from assistant.circuit.parameters import Systems
from assistant.cli import main
from assistant.core.library.procedure import Step
from assistant.core.reasoning.evidence import Assessment, assess
from assistant.core.reasoning.knowledge import parse_table
from assistant.core.reasoning.posterior import WeighedResult
from assistant.loading.folder import LIKELIHOODS_FILE
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.resources import directory

FOLDER = directory("procedures")
LIBRARY, KNOWLEDGE = shipped_folder()
CIRCUIT = "coil-with-external-driver"
CONTROL = replace(LIBRARY, procedures={"coil-control": LIBRARY.procedures["coil-control"]})
"""With the tests of one procedure alone a table is made in a second."""
SHIPPED = json.loads((FOLDER / LIKELIHOODS_FILE).read_text(encoding="utf-8"))


def fact(step: str, outcome: str) -> WeighedResult:
    """A result of the control test or of the procedure that it goes on with."""
    found = next(one for one in ("coil-control", "coil-and-driver") if step in LIBRARY.procedures[one].steps)
    return WeighedResult(found, step, outcome, 0.99)


def posterior(*results: tuple[str, str]) -> Assessment:
    found = assess(LIBRARY, KNOWLEDGE, CIRCUIT, [fact(*result) for result in results], DEFAULT_THRESHOLDS)
    assert found is not None
    return found


def test_the_shipped_table_is_what_the_model_gives(tmp_path: Path) -> None:
    """Model, procedures and table belong together; after a change: bay-assistant lint --write-likelihoods.

    That command writes the table, and a damaged one is no obstacle to it.
    """
    for path in FOLDER.glob("*.yaml"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    (tmp_path / LIKELIHOODS_FILE).write_text("damaged", encoding="utf-8")
    assert main(["lint", "--procedures", str(tmp_path), "--write-likelihoods"]) == 0
    written = (tmp_path / LIKELIHOODS_FILE).read_bytes()
    now = json.loads(written)
    assert written == likelihoods.to_bytes(now)
    assert parse_table(written, "x")[0] == now["version"]
    assert SHIPPED["model"] == now["model"]
    assert likelihoods.largest_difference(SHIPPED, now) <= 2 / likelihoods.FULL


def test_every_test_of_the_circuit_is_in_the_table() -> None:
    """Every measurement of the procedures on this circuit is weighed; nothing falls out unnoticed."""
    assert KNOWLEDGE is not None
    known = set(KNOWLEDGE.circuits[CIRCUIT].shares)
    assert known == set(likelihoods.all_tests(LIBRARY, CIRCUIT))
    assert KNOWLEDGE.version == SHIPPED["version"]


def test_the_table_is_the_same_again() -> None:
    """Seeded: the same bytes twice."""
    one, other = (likelihoods.to_bytes(likelihoods.table(CONTROL)) for _ in range(2))
    assert one == other


def test_a_change_of_a_limit_makes_another_table() -> None:
    """The version names the procedures' measurements as well as the model."""
    procedure = LIBRARY.procedures["coil-control"]
    steps = {name: step for name, step in procedure.steps.items() if name != "feed-and-switched"}
    library = replace(LIBRARY, procedures={"coil-control": replace(procedure, steps=steps)})
    other = likelihoods.table(library)
    assert other["version"] != SHIPPED["version"]
    assert likelihoods.largest_difference(SHIPPED, other) == 1.0


def test_shares_are_rounded_to_the_whole() -> None:
    """The rounded shares of a hypothesis sum to 1 over the answers, and one share in three is kept to half a per
    cent.
    """

    def thirds(circuit: str, mechanism: Mechanism, step: Step, systems: Systems) -> np.ndarray:
        count = len(step.choices())
        return np.full((systems.count, count), 1 / count)

    told: list[tuple[int, int]] = []
    body = likelihoods.table(LIBRARY, systems=2, shares=thirds, progress=lambda *one: told.append(one))
    for columns in body["circuits"][CIRCUIT]["tests"].values():
        rows = np.array([list(bytes.fromhex(digits)) for digits in columns.values()])
        assert set(rows.sum(axis=0)) == {likelihoods.FULL}
        assert np.ptp(rows) <= 1
    # Each test is told before it is computed, and counts as many mechanisms as it is computed for.
    weighed = likelihoods.weighed_circuits(LIBRARY)
    assert len(told) == sum(len(likelihoods.all_tests(LIBRARY, circuit)) for circuit in weighed)
    assert told == sorted(told)
    assert (0, told[0][1]) == told[0]
    assert told[-1][0] < told[-1][1] == told[0][1]


def test_sixteen_systems_are_enough() -> None:
    """Three times as many cars with another seed change no posterior of these results by much."""
    sessions = (
        [("feed-and-switched", "same")],
        [("feed-and-switched", "sharper")],
        [("feed-and-switched", "switched-dark"), ("leak-ohms", "leaks")],
        [("feed-and-switched", "same"), ("led-in-coils-place", "blinking")],
    )
    asked = {step for results in sessions for step, _ in results}
    procedures = {
        name: replace(one, steps={step: each for step, each in one.steps.items() if step in asked})
        for name, one in LIBRARY.procedures.items()
        if name in ("coil-control", "coil-and-driver")
    }
    many = likelihoods.table(replace(LIBRARY, procedures=procedures), systems=48, seed=7)
    _, circuits = parse_table(json.dumps(many).encode(), "x")
    assert KNOWLEDGE is not None
    fine = replace(KNOWLEDGE, circuits=circuits)
    for results in sessions:
        given = [fact(*result) for result in results]
        coarse = posterior(*results).posterior
        other = assess(LIBRARY, fine, CIRCUIT, given, DEFAULT_THRESHOLDS)
        assert other is not None
        assert coarse == pytest.approx(other.posterior, abs=0.15)


@pytest.mark.parametrize(
    ("results", "faults"),
    [
        ([("feed-and-switched", "feed-dark")], {"open-feed", "no-inputs"}),
        (
            [
                ("feed-and-switched", "same"),
                ("led-in-coils-place", "dark"),
                ("led-at-module", "blinking"),
            ],
            {"control-wire-open"},
        ),
        (
            [
                ("feed-and-switched", "switched-dark"),
                ("leak-ohms", "free"),
                ("primary-ohms", "open"),
            ],
            {"open-primary"},
        ),
        (
            [
                ("feed-and-switched", "switched-dark"),
                ("leak-ohms", "leaks"),
                ("leak-without-module", "free"),
            ],
            {"driver-shorted"},
        ),
        (
            [
                ("feed-and-switched", "same"),
                ("live-volts", "live"),
                ("live-end", "live"),
            ],
            {"control-wire-to-battery"},
        ),
    ],
)
def test_practice_is_what_the_table_says(results: list[tuple[str, str]], faults: set[str]) -> None:
    """Outside check: what the trade concludes from these lamps (common practice) is the likeliest by the table."""
    assert next(iter(posterior(*results).posterior)) in faults


def test_the_readings_of_a_whole_and_an_open_primary_contradict_each_other() -> None:
    """Outside check: a lit switched side shows a continuous primary, an ohmmeter over its range does not."""
    found = posterior(
        ("feed-and-switched", "same"),
        ("led-in-coils-place", "blinking"),
        ("primary-ohms", "open"),
    )
    assert found.slip > 0.5
    doubt = found.doubt()
    assert doubt is not None
    assert doubt.doubtful == 2
