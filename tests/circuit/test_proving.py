"""The proof of the shipped procedures: it holds, and it fails when a safeguard of the trade is taken out."""

from __future__ import annotations

import functools
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assistant import proof_order, proof_report, proof_story, proving, resources
from assistant.circuit.proof import NO_FAULT, Judgement
from assistant.core.loading import load_library
from assistant.core.odds import load_odds
from assistant.errors import FileProblem, UsageProblem

if TYPE_CHECKING:
    from assistant.core.procedure import Library

FOLDER = resources.directory("procedures")
LIBRARY = load_library(FOLDER)
SYSTEMS = 40


@functools.cache
def shipped() -> proving.Report:
    """The proof of all shipped procedures, made once."""
    return proving.prove(LIBRARY, proving.Asked(systems=SYSTEMS, processes=1))


def changed(folder: Path, file: str, *changes: tuple[str, str]) -> Library:
    """The shipped procedures with pieces of one file replaced, each once."""
    copy = shutil.copytree(FOLDER, folder / "procedures")
    path = copy / file
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return load_library(copy)


def without(text: str, *steps: str) -> tuple[tuple[str, str], ...]:
    """Changes that cut whole steps out of a procedure's text."""
    lines = text.splitlines(keepends=True)
    cuts = []
    for step in steps:
        start = lines.index(f"  {step}:\n")
        end = next(n for n in range(start + 1, len(lines)) if not lines[n].startswith("    "))
        cuts.append(("".join(lines[start:end]), ""))
    return tuple(cuts)


def test_the_shipped_procedures_hold() -> None:
    """No clear answers lead to a wrong verdict, and doubtful ones stay within their limits."""
    report = shipped()
    assert [failure.sentence for proven in report.procedures for failure in proven.failures] == []
    assert report.holds
    proven = {proven.name for proven in report.procedures}
    assert proven | set(report.nothing_electrical) == set(LIBRARY.procedures)
    assert "no-start" in report.nothing_electrical
    assert "About nothing electrical, so not proven: after-repair" in proof_report.text(report, LIBRARY)


def test_all_shares_of_a_case_add_up_to_one() -> None:
    """Every car of every case ends somewhere, for every observer."""
    for proven in shipped().procedures:
        for observer in proving.OBSERVERS:
            for one, ends in zip(proven.rows[observer], proven.ends[observer], strict=True):
                assert one.right + one.wrong_part + one.wrong_path + one.undecided == pytest.approx(1)
                assert sum(ends.values()) == pytest.approx(1)


def test_every_fault_of_the_terms_is_proven() -> None:
    """The control test is led through every fault of the catalogue, and a car without one."""
    faults = {case.fault for proven in shipped().procedures for case in proven.cases}
    assert faults == {*LIBRARY.terms.faults, NO_FAULT}


def test_without_the_exclusion_of_a_shorted_primary_the_proof_fails(tmp_path: Path) -> None:
    """Taken out of the control test, a shorted primary is told to be a driver that does not switch."""
    text = (FOLDER / "coil-control.yaml").read_text(encoding="utf-8")
    library = changed(
        tmp_path,
        "coil-control.yaml",
        *without(text, "current-without-control", "resistance-without-control", "resistance-with-current"),
        *(
            (f"{seen} {{next: current-without-control,", f"{seen} {{next: control-terminal-unplugged,")
            for seen in ("steady:    ", "lit:       ", "flickering:")
        ),
    )
    report = proving.prove(library, proving.Asked(("coil-control",), systems=SYSTEMS, processes=1))
    assert not report.holds
    (proven,) = report.procedures
    counters = [failure.counter for failure in proven.failures if failure.counter]
    clear = [one for one in counters if one.clear and one.case.fault == "shorted-primary"]
    assert "coil-control: no-control" in {str(counter.end) for counter in clear}
    assert len(report.stories) == 1
    story = proof_story.tell(library, proven.circuit, clear[0], report.asked)
    assert "with shorted-primary (full); every answer is clear" in story
    assert "The driver does not switch the coil." in story
    assert proving.CAUTION in story


def test_without_the_comparison_with_the_feed_the_proof_fails(tmp_path: Path) -> None:
    """Taken out of the control test, the starter's waver passes for control."""
    text = (FOLDER / "coil-control.yaml").read_text(encoding="utf-8")
    library = changed(
        tmp_path,
        "coil-control.yaml",
        *without(text, "same-as-feed"),
        ("blinking:   {next: same-as-feed,", "blinking:   {next: current-with-control,"),
        ("flickering: {next: same-as-feed,", "flickering: {next: current-with-control,"),
        ("dark: {next: same-as-feed}", "dark: {next: current-with-control}"),
    )
    report = proving.prove(library, proving.Asked(("coil-control",), systems=SYSTEMS, processes=1))
    assert not report.holds
    (proven,) = report.procedures
    astray = {failure.counter.case.fault for failure in proven.failures if failure.counter}
    assert astray & {"driver-dead", "no-inputs", "no-driver-supply", "control-wire-open"}


def test_the_proof_is_the_same_for_a_seed_and_any_number_of_processes() -> None:
    """One process or two, the figures are the same to the last digit; another seed gives other cars."""
    asked = proving.Asked(("feed-dead",), systems=110, seed=3, processes=1)
    one = proof_report.to_json(proving.prove(LIBRARY, asked))
    two = proof_report.to_json(
        proving.prove(LIBRARY, proving.Asked(("feed-dead",), systems=110, seed=3, processes=2))
    )
    assert one == two
    other = proof_report.to_json(
        proving.prove(LIBRARY, proving.Asked(("feed-dead",), systems=110, seed=4, processes=1))
    )
    assert one["procedures"] != other["procedures"]


def test_progress_is_told_up_to_the_end() -> None:
    """The progress counts the pieces of the work and ends with all of them."""
    told: list[tuple[int, int]] = []
    proving.prove(
        LIBRARY,
        proving.Asked(("battery-and-cranking",), systems=110, processes=1),
        lambda done, of: told.append((done, of)),
    )
    assert told == [(1, 3), (2, 3), (3, 3)]


def test_a_presumed_fault_is_reported_and_fails_nothing(tmp_path: Path) -> None:
    """A weak battery is excluded before the control test; without that word in the file, the test fails it."""
    (proven,) = (one for one in shipped().procedures if one.name == "coil-control")
    rows = [
        row
        for case, row in zip(proven.cases, proven.rows["honest"], strict=True)
        if case.fault == "weak-battery"
    ]
    assert max(row.wrong_part for row in rows) > 0.5
    library = changed(tmp_path, "coil-control.yaml", ("presumes_no: [weak-battery]\n", ""))
    report = proving.prove(library, proving.Asked(("coil-control",), systems=10, processes=1))
    assert {failure.counter.case.fault for failure in report.procedures[0].failures if failure.counter} == {
        "weak-battery"
    }


def test_a_wrong_exclusion_is_found(tmp_path: Path) -> None:
    """An answer that rules out a fault that clearly gives it fails, with file and line."""
    library = changed(
        tmp_path,
        "coil-control.yaml",
        (
            "lit:  {next: switched-while-cranking, rules_out: [open-feed]}",
            "lit:  {next: switched-while-cranking, rules_out: [open-feed, driver-dead]}",
        ),
    )
    report = proving.prove(library, proving.Asked(("coil-control",), systems=10, processes=1))
    (failure,) = report.procedures[0].failures
    line = library.step("coil-control", "feed-while-cranking").line
    assert f"coil-control.yaml:{line}: 'lit' rules out driver-dead" in failure.sentence


def test_a_step_that_no_fault_reaches_and_a_verdict_that_covers_nothing_are_named(tmp_path: Path) -> None:
    """A step behind an answer that no car gives is told, and the verdicts that nothing comes to."""
    never = "".join(
        f"  {name}:\n"
        "    measure: {with: test-lamp, clip: battery-negative, probe: engine-block, engine: key-off}\n"
        "    cautions: []\n"
        "    answers:\n"
        f"      lit:  {{{lit}}}\n"
        "      dark: {verdict: control-wire-to-battery}\n"
        for name, lit in (
            ("never", "next: never-either"),
            ("never-either", "verdict: control-wire-to-battery"),
        )
    )
    library = changed(
        tmp_path,
        "coil-control.yaml",
        ("      lit:  {verdict: control-wire-to-battery}\n", "      lit:  {next: never}\n"),
        ("  # Control is there: does the coil get its current?\n", never),
    )
    report = proving.prove(library, proving.Asked(("coil-control",), systems=10, processes=1))
    assert ("coil-control", "never-either") in report.unreached
    assert any("driver-shorted-coil-high (no fault leads there)" in one for one in report.idle)


def test_a_step_that_the_circuit_cannot_have_is_told_with_file_and_line(tmp_path: Path) -> None:
    """What the circuit model refuses is a sentence that starts with the step's file and line."""
    library = changed(
        tmp_path,
        "battery-and-cranking.yaml",
        (
            "{with: voltmeter, clip: battery-negative, probe: battery-positive, engine: key-off}",
            "{with: voltmeter, clip: battery-negative, probe: feed-wire, engine: key-off}",
        ),
    )
    with pytest.raises(
        FileProblem, match=r"battery-and-cranking\.yaml:\d+: step 'battery-at-rest' cannot be"
    ):
        proving.prove(library, proving.Asked(("battery-and-cranking",), systems=10, processes=1))


def test_an_unknown_circuit_is_told(tmp_path: Path) -> None:
    """A procedure for a circuit that the model lacks is refused, unless it leads to one that the model has."""
    library = changed(
        tmp_path, "coil-control.yaml", ("circuit: coil-with-external-driver", "circuit: steam-engine")
    )
    assert proving.circuit_of(library, "coil-control") == "coil-with-external-driver"
    alone = changed(
        tmp_path / "alone",
        "battery-and-cranking.yaml",
        ("circuit: battery-and-starter", "circuit: steam-engine"),
        ("    continue_with: spark-check\n", ""),
    )
    with pytest.raises(
        FileProblem, match=r"battery-and-cranking\.yaml: the circuit 'steam-engine' is not in"
    ):
        proving.prove(alone, proving.Asked(("battery-and-cranking",)))


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (proving.Asked(("no-such",)), "There is no procedure 'no-such'"),
        (proving.Asked(systems=0), "0 systems cannot be proven"),
        (proving.Asked(misreading=0.5), "A rate of misreading of 0.5"),
        (proving.Asked(seed=-1), "The seed -1"),
    ],
)
def test_bad_input_is_a_sentence(asked: proving.Asked, message: str) -> None:
    """What cannot be proven is said before anything is simulated."""
    with pytest.raises(UsageProblem, match=message):
        proving.prove(LIBRARY, asked)


SEARCHED_QUICKLY = ("battery-and-cranking", "built-in-driver-coil", "ground-switched-load")
"""Those of the coil with an external driver go on with each other and have too many sets of faults for a test."""


def test_the_order_is_never_better_than_the_optimum() -> None:
    """No procedure takes fewer expected minutes than the best order of its own tests."""
    for one in proof_order.order(LIBRARY, load_odds(FOLDER, LIBRARY.terms), SEARCHED_QUICKLY):
        assert one.minutes >= one.best.minutes - 1e-9
        assert one.wrong == 0


def test_every_output_says_where_the_figures_come_from() -> None:
    """Text and JSON say that a model without a bench measurement stands behind them."""
    report = shipped()
    assert proving.CAUTION in proof_report.text(report, LIBRARY)
    assert proof_report.to_json(report)["caution"] == proving.CAUTION
    assert Judgement.WRONG_PART.value in proof_report.to_json(report)["limits"]
