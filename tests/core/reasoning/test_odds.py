"""Prior odds and minutes: what the shipped file says, and what is refused with file and line."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, strategies as st
from shipped import shipped_library

from assistant import resources
from assistant.core.reasoning.odds import Findings, posterior_mean
from assistant.core.reasoning.odds_file import parse_findings, parse_odds
from assistant.errors import FileProblem, UsageProblem
from assistant.loading.folder import ODDS_FILE, load_library, load_odds

FOLDER = resources.directory("procedures")
TERMS = shipped_library().terms
TEXT = (FOLDER / ODDS_FILE).read_text(encoding="utf-8")


def test_every_fault_has_odds_and_every_instrument_minutes() -> None:
    """Nothing of the terms is weighed with nothing, and the odds are shares of one."""
    odds = load_odds(FOLDER, TERMS)
    assert set(TERMS.faults) == set(odds.prior)
    assert set(TERMS.instruments) == set(odds.minutes)
    assert sum(odds.prior.values()) == pytest.approx(1)
    assert "Judgement" in odds.source


def test_the_odds_file_is_no_procedure(tmp_path: Path) -> None:
    """A folder with the file loads the same procedures as without it: old sessions have none."""
    shutil.copytree(FOLDER, tmp_path / "p")
    (tmp_path / "p" / ODDS_FILE).unlink()
    assert load_library(tmp_path / "p").procedures.keys() == load_library(FOLDER).procedures.keys()
    with pytest.raises(UsageProblem, match=r"need the file .*odds\.yaml"):
        load_odds(tmp_path / "p", TERMS)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("no-inputs:                    0.24", "no-inputs: many", r"x\.yaml:\d+: 'many' is not a number"),
        ("no-inputs:                    0.24", "no-inputs: 0", r"x\.yaml:\d+: 'no-inputs' in 'prior' is 0"),
        ("no-inputs:  ", "no-input:", r"x\.yaml:\d+: there is no fault 'no-input'"),
        ("  no-inputs:                    0.24\n", "", r"x\.yaml:\d+: 'prior' does not mention 'no-inputs'"),
        ("  eyes:          0.3", "  eyes: [1]", r"x\.yaml:\d+: 'eyes' in 'minutes' is not a number"),
        ("once:", "twice:", r"x\.yaml:\d+: 'twice' is not known in the odds"),
    ],
)
def test_a_mistake_is_named_with_its_line(old: str, new: str, message: str) -> None:
    """Every mistake in the file is one sentence that starts with file and line."""
    assert old in TEXT
    with pytest.raises(FileProblem, match=message):
        parse_odds(TEXT.replace(old, new, 1).encode(), "x.yaml", TERMS)


# --- the shop's own findings ----------------------------------------------------------------------

SHIPPED = load_odds(FOLDER, TERMS)
FAULTS = list(SHIPPED.prior)


def test_the_weight_of_the_shipped_odds_is_stated_with_its_source() -> None:
    """How many cars judgement is worth stands in the file, and that it was chosen."""
    assert SHIPPED.weight_cars == 20
    assert SHIPPED.weight_source.startswith("Chosen")


def test_the_mean_is_laplaces_rule_of_succession() -> None:
    """Even odds worth one car a fault: (cars + 1) / (all cars + faults); Laplace, "Essai philosophique", 1814.

    His own figure: after 1,826,213 sunrises the odds of one more are 1,826,214 to one.
    """
    even = {"rises": 0.5, "stays": 0.5}
    found = posterior_mean(even, 2, {"rises": 1_826_213})
    assert found["rises"] / found["stays"] == pytest.approx(1_826_214)
    six = dict.fromkeys("abcdef", 1 / 6)
    assert posterior_mean(six, 6, {"a": 3, "b": 1}) == pytest.approx(
        {"a": 4 / 10, "b": 2 / 10, **dict.fromkeys("cdef", 1 / 10)}
    )


def test_the_mean_is_that_of_the_beta_distribution() -> None:
    """Two faults: the integral of Bayes' rule itself, by Simpson's rule, without any formula for its value."""
    share, weight, one, other = 0.3, 20, 4, 9
    grid = np.linspace(0, 1, 20_001)
    density = grid ** (weight * share - 1 + one) * (1 - grid) ** (weight * (1 - share) - 1 + other)
    simpson = np.ones_like(grid)
    simpson[1:-1:2], simpson[2:-1:2] = 4, 2
    mean = (simpson * density * grid).sum() / (simpson * density).sum()
    found = posterior_mean({"one": share, "other": 1 - share}, weight, {"one": one, "other": other})
    assert found["one"] == pytest.approx(mean, rel=1e-9)


def test_the_mean_is_that_of_the_dirichlet_distribution() -> None:
    """All faults: NumPy's Dirichlet sampler with the counts added to its parameters has the same means."""
    cars = {"control-wire-open": 6.0, "no-inputs": 1.5, "weak-battery": 0.5}
    used = posterior_mean(SHIPPED.prior, 20, cars)
    parameters = [20 * SHIPPED.prior[fault] + cars.get(fault, 0.0) for fault in FAULTS]
    drawn = np.random.default_rng(1).dirichlet(parameters, 200_000).mean(axis=0)
    assert list(used.values()) == pytest.approx(drawn.tolist(), abs=0.002)


CARS = st.dictionaries(st.sampled_from(FAULTS), st.floats(0, 1e6), max_size=6)


@given(CARS, st.floats(0.1, 1e4))
def test_no_history_takes_a_fault_out(cars: dict[str, float], weight: float) -> None:
    """However often other faults were found, every fault keeps odds above zero, and they sum to one."""
    used = posterior_mean(SHIPPED.prior, weight, cars)
    assert used.keys() == SHIPPED.prior.keys()
    assert min(used.values()) > 0
    assert sum(used.values()) == pytest.approx(1)
    floor = weight / (weight + sum(cars.values()))
    for fault, odds in used.items():
        assert odds >= SHIPPED.prior[fault] * floor * (1 - 1e-9)


@given(CARS, st.sampled_from(FAULTS))
def test_one_more_car_makes_its_fault_likelier_and_no_other(cars: dict[str, float], fault: str) -> None:
    """A finding speaks for what was found, never for anything else."""
    before = posterior_mean(SHIPPED.prior, 20, cars)
    after = posterior_mean(SHIPPED.prior, 20, {**cars, fault: cars.get(fault, 0.0) + 1})
    assert after[fault] > before[fault]
    assert all(after[other] <= before[other] for other in FAULTS if other != fault)


def test_cars_count_for_their_circuit_and_unknown_ones_for_all() -> None:
    """Findings on one kind of ignition do not speak for another."""
    findings = Findings({"one": {"open-feed": 2.0}, "": {"open-feed": 0.5, "no-inputs": 1.0}})
    odds = replace(SHIPPED, findings=findings)
    assert findings.on("one") == {"open-feed": 2.5, "no-inputs": 1.0}
    assert findings.on("other") == {"open-feed": 0.5, "no-inputs": 1.0}
    assert odds.used("one")["open-feed"] > odds.used("other")["open-feed"] > odds.prior["no-driver-supply"]
    assert replace(odds, weight_cars=0).used("one") == SHIPPED.prior
    assert SHIPPED.used("one") is SHIPPED.prior


@given(st.dictionaries(st.sampled_from(("", "one", "two")), CARS, max_size=3))
def test_findings_are_read_as_they_were_written(cars: dict[str, dict[str, float]]) -> None:
    """The file of a session gives back the very numbers that were counted."""
    findings = Findings(cars)
    assert findings == parse_findings(findings.to_bytes(), "findings.json", TERMS)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"{", "not the findings of a shop"),
        (b"[]", "not the findings of a shop"),
        (b'{"format": "x", "version": 1, "cars": {}}', "it says 'x'"),
        (b'{"format": "bay-assistant findings", "version": 2, "cars": {}}', "version 2"),
        (
            Findings({"": {"open-feed": 1}}).to_bytes().replace(b"open-feed", b"open-door"),
            "no fault 'open-door'",
        ),
        (
            Findings({"": {"open-feed": 1}}).to_bytes().replace(b": 1\n", b": -1\n"),
            "-1 is not a number of cars",
        ),
        (Findings({"": {"open-feed": 1}}).to_bytes().replace(b": 1\n", b": NaN\n"), "nan is not a number"),
        (Findings({"": {"open-feed": 1}}).to_bytes().replace(b": 1\n", b": true\n"), "True is not a number"),
    ],
)
def test_damaged_findings_are_refused(data: bytes, message: str) -> None:
    """A session is never weighed with numbers that nobody counted."""
    with pytest.raises(FileProblem, match=message):
        parse_findings(data, "findings.json", TERMS)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("weight_cars: 20", "weight_cars: 0", r"x\.yaml:\d+: 'weight_cars' is not a number of cars"),
        ("weight_cars: 20", "weight_cars: some", r"x\.yaml:\d+: 'some' is not a number"),
        ("weight_cars: 20", "weight_cars: [20]", r"x\.yaml:\d+: 'weight_cars' is not a number of cars"),
        ("weight_source: Chosen", "weight_from: Chosen", r"x\.yaml:\d+: 'weight_from' is not known"),
    ],
)
def test_a_weight_that_is_none_is_refused(old: str, new: str, message: str) -> None:
    """With file and line."""
    assert old in TEXT
    with pytest.raises(FileProblem, match=message):
        parse_odds(TEXT.replace(old, new, 1).encode(), "x.yaml", TERMS)


def test_odds_of_before_have_no_weight_and_count_nothing() -> None:
    """The copies in sessions that were recorded before are read as they are."""
    lines = [line for line in TEXT.splitlines() if not line.startswith("weight_")]
    odds = parse_odds("\n".join(lines).encode(), "x.yaml", TERMS)
    assert (0.0, "", SHIPPED.prior) == (odds.weight_cars, odds.weight_source, odds.prior)
