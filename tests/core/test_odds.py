"""Prior odds and minutes: what the shipped file says, and what is refused with file and line."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from assistant import resources
from assistant.core.loading import ODDS_FILE, load_library
from assistant.core.odds import load_odds, parse_odds
from assistant.errors import FileProblem, UsageProblem

FOLDER = resources.directory("procedures")
TERMS = load_library(FOLDER).terms
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
        ("  no-inputs:                    0.24\n", "", r"x\.yaml:\d+: 'prior' says nothing of 'no-inputs'"),
        ("  eyes:          0.3", "  eyes: [1]", r"x\.yaml:\d+: 'eyes' in 'minutes' is not a number"),
        ("once:", "twice:", r"x\.yaml:\d+: 'twice' is not known in the odds"),
    ],
)
def test_a_mistake_is_named_with_its_line(old: str, new: str, message: str) -> None:
    """Every mistake in the file is one sentence that starts with file and line."""
    assert old in TEXT
    with pytest.raises(FileProblem, match=message):
        parse_odds(TEXT.replace(old, new, 1).encode(), Path("x.yaml"), TERMS)
