"""Adding a circuit, an instrument, an outcome or a test: what is still missing is found, and how to add it is said."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assistant import resources
from assistant.circuit import adding, instruments
from assistant.circuit.answers import outcome_shares
from assistant.circuit.instruments import REGISTRY
from assistant.circuit.lamps import HEAVY_LAMP, TEST_LAMP, lamp_named
from assistant.circuit.problems import CircuitProblem
from assistant.core.library.vocabulary import CLAMPS, FILAMENTS, SENSES
from assistant.errors import FileProblem
from assistant.loading.folder import load_library, load_odds

if TYPE_CHECKING:
    from assistant.core.values.finding import Finding


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the shipped procedures, to be changed."""
    return Path(shutil.copytree(resources.directory("procedures"), tmp_path / "procedures"))


def change(path: Path, old: str, new: str) -> None:
    """Replace a piece of a file, once."""
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def line_of(path: Path, words: str) -> int:
    """The line that holds these words first."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return next(number for number, line in enumerate(lines, 1) if words in line)


def findings(folder: Path) -> list[Finding]:
    """Return the findings in a folder."""
    return adding.findings(load_library(folder))


def only(folder: Path) -> Finding:
    """The one finding in a folder."""
    (found,) = findings(folder)
    return found


def add_instrument(folder: Path, entry: str) -> None:
    """Add an instrument to terms and odds."""
    change(folder / "terms.yaml", "instruments:\n", "instruments:\n" + entry)
    change(folder / "odds.yaml", "minutes:\n", "minutes:\n  noid: 1\n")


NOID = (
    "  noid: {spoken: noid light, short: noid light, clip: plug in, probe: and probe, watch: Watch it, %s}\n"
)


def test_what_is_shipped_lacks_nothing() -> None:
    """Every instrument, outcome, unit, fault, circuit and test of the package is known to model and likelihoods."""
    assert [] == findings(resources.directory("procedures"))


def test_an_instrument_without_a_model_is_found_with_the_file_to_write(folder: Path) -> None:
    """The finding stands at its line in the terms and names the Python file."""
    add_instrument(folder, NOID % "outcomes: [lit, dark]")
    found = only(folder)
    assert found.path == str(folder / "terms.yaml")
    assert found.line == line_of(folder / "terms.yaml", "  noid:")
    assert "no model of instrument 'noid'" in found.problem
    assert "Add assistant/circuit/instruments/noid.py" in found.remedy


def test_an_outcome_that_the_model_does_not_give_is_found_with_the_file_to_change(folder: Path) -> None:
    """The finding names the instrument's file and what it gives today."""
    terms = folder / "terms.yaml"
    change(terms, "outcomes: [lit, dim, dark, steady,", "outcomes: [lit, pulsing, dim, dark, steady,")
    change(terms, "\noutcomes:\n", "\noutcomes:\n  pulsing: {spoken: pulsing, seen: lamp pulsing}\n")
    found = only(folder)
    assert found.line == line_of(terms, "  test-lamp:")
    assert "the model of 'test-lamp' does not give the outcome 'pulsing'" in found.problem
    assert "assistant/circuit/instruments/lamp.py" in found.remedy
    assert "blinking" in found.remedy
    assert (Path(resources.__file__).parents[1] / "assistant/circuit/instruments/lamp.py").is_file()


def test_a_unit_that_does_not_fit_the_model_is_found(folder: Path) -> None:
    """A clamp that reads volts, and an ohmmeter in a unit that no reading has."""
    change(folder / "terms.yaml", "units: [A]", "units: [A, V]")
    assert "'current-clamp' reads in 'V', and its model gives A" in only(folder).problem


def test_a_circuit_that_nobody_modelled_is_found_at_its_line(folder: Path) -> None:
    """The finding lists those that there are."""
    file = folder / "feed-weak.yaml"
    change(file, "circuit: coil-with-external-driver", "circuit: coil2")
    found = next(one for one in findings(folder) if "coil2" in one.problem)
    assert (found.path, found.line) == (str(file), line_of(file, "circuit: coil2"))
    assert found.problem == "circuit 'coil2' is unknown"
    assert "Known are coil-with-external-driver, coil-per-plug" in found.remedy


def test_a_fault_that_comes_about_in_no_way_is_found(folder: Path) -> None:
    """A fault of the terms without a mechanism is weighed by nobody."""
    change(
        folder / "terms.yaml",
        "\nfaults:\n",
        "\nfaults:\n  gremlins: {plain: gremlins, part: ignition coil}\n",
    )
    change(folder / "odds.yaml", "prior:\n", "prior:\n  gremlins: 0.01\n")
    found = only(folder)
    assert found.line == line_of(folder / "terms.yaml", "  gremlins:")
    assert "no model of fault 'gremlins'" in found.problem
    assert "assistant/circuit/catalogue" in found.remedy


def test_a_test_that_the_likelihoods_do_not_hold_is_found_with_the_command(folder: Path) -> None:
    """A band with another limit is another test."""
    file = folder / "coil-control.yaml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("9.6\n", "9.5\n"), encoding="utf-8")
    found = only(folder)
    assert (found.path, found.line) == (str(file), 1 + line_of(file, "  battery-while-cranking:"))
    assert found.problem == "these tests are not weighed: battery-while-cranking"
    assert found.remedy == f"Run: bay-assistant lint --procedures {folder} --write-likelihoods"


def test_likelihoods_of_another_model_and_missing_ones_are_found(folder: Path) -> None:
    """Both say which command writes them; a folder without odds weighs nothing and needs none."""
    path = folder / "likelihoods.json"
    table = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps({**table, "model": "000000000000"}), encoding="utf-8")
    assert "of another circuit model (000000000000" in only(folder).problem
    path.unlink()
    found = only(folder)
    assert found.problem.startswith("there are no likelihoods")
    assert "--write-likelihoods" in found.remedy
    (folder / "odds.yaml").unlink()
    assert [] == findings(folder)


def test_a_step_that_cannot_be_simulated_is_found_at_its_line(folder: Path) -> None:
    """A fuse cannot be out while a drop is measured under load: the model has no answer, so nothing is weighed."""
    file = folder / "coil-and-driver.yaml"
    measure = "{with: loaded-voltmeter, clip: feed, probe: battery-positive, engine: key-on, unplugged: [%s]}"
    change(file, measure % "coil", measure % "fuse")
    found = only(folder)
    assert (found.path, found.line) == (str(file), line_of(file, measure % "fuse"))
    assert "cannot be simulated" in found.problem
    assert "nothing but the coil unplugged" in found.problem


# --- the registry -------------------------------------------------------------------------------------


def test_every_file_of_the_room_is_in_the_registry_once() -> None:
    """A file with models is found by itself; two of the same name would hide each other."""
    names = [model.name for model in instruments.models()]
    assert len(names) == len(set(names)) == len(REGISTRY)
    assert {"test-lamp", "heavy-lamp", "voltmeter", "current-clamp", "spark-tester", "eyes"} <= set(names)


@pytest.mark.parametrize("name", sorted(REGISTRY))
def test_an_instrument_gives_what_it_says_it_gives(name: str) -> None:
    """Each outcome of the list is an answer to what it shows, and any other is refused; a meter has a number."""
    model = REGISTRY[name]
    nothing = model.nothing(2)
    assert bool(model.quantity) is not bool(model.outcomes)
    if model.quantity:
        assert nothing.value is not None
        assert nothing.value.shape == (2,)
    elif nothing.shown is not None:
        shares = outcome_shares(nothing, model.outcomes)
        assert shares.shape == (2, len(model.outcomes))
        assert np.allclose(shares.sum(axis=1), 1)
        with pytest.raises(CircuitProblem, match="cannot show 'purple'"):
            outcome_shares(nothing, ["purple"])


def test_a_filament_that_terms_and_model_see_differently_is_found(folder: Path) -> None:
    """The rules of the trade keep filaments off logic signals, so the terms must say what the model loads with."""
    change(folder / "terms.yaml", "  led-light:\n", "  led-light:\n    filament: true\n")
    assert "'led-light' is a filament lamp, and its model loads with none" in findings(folder)[0].problem


def test_minutes_of_an_instrument_stand_in_the_terms_or_with_the_odds(folder: Path) -> None:
    """A new instrument brings its own minutes; two answers, or none, are refused with file and line."""
    change(
        folder / "terms.yaml", "instruments:\n", "instruments:\n" + NOID % "minutes: 2, outcomes: [lit, dark]"
    )
    odds = load_odds(folder, load_library(folder).terms)
    assert odds.minutes["noid"] == 2
    change(folder / "odds.yaml", "minutes:\n", "minutes:\n  noid: 1\n")
    with pytest.raises(FileProblem, match=r"odds\.yaml:\d+: 'noid' has its minutes in the terms as well"):
        load_odds(folder, load_library(folder).terms)
    change(folder / "terms.yaml", "minutes: 2", "minutes: -2")
    with pytest.raises(FileProblem, match=r"terms\.yaml:\d+: .* takes -2 minutes"):
        load_library(folder)


def test_copies_of_terms_from_before_know_their_filament_lamps(folder: Path) -> None:
    """A recorded session's own copy says nothing of filaments, and its lamps are filament lamps all the same."""
    text = (folder / "terms.yaml").read_text(encoding="utf-8")
    (folder / "terms.yaml").write_text(text.replace("    filament: true\n", ""), encoding="utf-8")
    assert {one.name for one in load_library(folder).terms.instruments.values() if one.filament} == {
        "test-lamp",
        "heavy-lamp",
    }


def test_the_core_and_the_registry_agree_on_what_an_instrument_loads() -> None:
    """Filament lamps are the same in both, and clamps and senses have no tip that can miss a pin."""
    lamp = lamp_named(TEST_LAMP)
    terms = load_library(resources.directory("procedures")).terms.instruments.values()
    filaments = {name for name, model in REGISTRY.items() if model.bulb(lamp) is not None}
    assert set(FILAMENTS) == filaments == {one.name for one in terms if one.filament}
    assert REGISTRY["heavy-lamp"].bulb(lamp) == lamp_named(HEAVY_LAMP)
    assert not [name for name in (*CLAMPS, *SENSES) if name in REGISTRY and REGISTRY[name].probes]
