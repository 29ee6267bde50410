"""The command `prove`: exit status, and what is printed."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from assistant import resources
from assistant.cli import main

FEW = ("--systems", "10")


def test_a_proof_that_holds_ends_with_0(capsys: pytest.CaptureFixture[str]) -> None:
    """The text names the model's limits, and nothing goes to standard error away from a terminal."""
    assert main(["prove", "battery-and-cranking", *FEW, "--order"]) == 0
    shown = capsys.readouterr()
    assert "no bench measurement behind it" in shown.out
    assert "Proven, within this model" in shown.out
    assert "Order of tests in battery-and-cranking" in shown.out
    assert shown.err == ""


def test_a_proof_that_fails_ends_with_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A weak feed that is sent to where no feed is tested: a finding, with the story of a car."""
    folder = shutil.copytree(resources.directory("procedures"), tmp_path / "procedures")
    path = folder / "coil-control.yaml"
    text = path.read_text(encoding="utf-8")
    old = "feed-dim:      {procedure: feed-weak}"
    assert old in text
    text = text.replace(old, "feed-dim:      {procedure: battery-and-cranking}")
    path.write_text(text, encoding="utf-8")
    assert main(["prove", "coil-control", *FEW, "--procedures", str(folder)]) == 1
    shown = capsys.readouterr().out
    assert "FAILED: coil-control" in shown
    assert "A counter-example in coil-control: car " in shown
    assert "high-resistance-feed" in shown


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["no-such"], "There is no procedure 'no-such'. Known are: after-repair"),
        (["--systems", "0"], "argument --systems: '0' is not a whole number from 1 to 100000"),
        (["--misreading", "2"], "argument --misreading: '2' is not a share from 0 to 0.5"),
    ],
)
def test_bad_input_ends_with_2(
    arguments: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sentence on standard error, and no traceback."""
    try:
        status = main(["prove", *arguments])
    except SystemExit as ended:  # an option out of its range
        assert ended.code == 2
    else:
        assert status == 2
    assert message in capsys.readouterr().err


def test_a_missing_file_of_odds_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Odds are needed for the order alone; then their absence is a sentence with the file's name."""
    folder = shutil.copytree(resources.directory("procedures"), tmp_path / "procedures")
    (folder / "odds.yaml").unlink()
    arguments = ["prove", "battery-and-cranking", *FEW, "--procedures", str(folder)]
    assert main(arguments) == 0
    assert main([*arguments, "--order"]) == 2
    assert "odds.yaml" in capsys.readouterr().err


def test_json_is_one_object(capsys: pytest.CaptureFixture[str]) -> None:
    """The JSON says what the text says, with the shares of each end."""
    assert main(["prove", "battery-and-cranking", *FEW, "--json", "--order"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert shown["holds"]
    assert "no bench measurement" in shown["caution"]
    (proven,) = shown["procedures"]
    assert {case["fault"] for case in proven["cases"]} == {"weak-battery", "none"}
    assert all(
        sum(case["observers"]["honest"]["ends"].values()) == pytest.approx(1) for case in proven["cases"]
    )
    assert shown["order"][0]["excess_minutes"] >= 0
