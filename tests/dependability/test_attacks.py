"""A small share of each attack in the ordinary test run; the whole of it: ``.venv/bin/python tests/dependability``."""

from __future__ import annotations

import json
from collections import Counter
from typing import TYPE_CHECKING

import pytest
from attacks import ATTACKS
from harness import Failure, Outcome, Plan, Try, details, json_text, run_tries, table
from judging import printed
from mutating import raw_signs

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize("name", ATTACKS)
def test_nothing_is_lost_and_nothing_breaks(name: str, tmp_path: Path) -> None:
    """A few tries of each attack, always the same ones: none of them fails."""
    attack = ATTACKS[name]
    outcome = attack.make(Plan(attack.quick, tmp_path, jobs=2, fork=False))
    if outcome.skipped:
        pytest.skip(outcome.skipped)
    assert outcome.tries >= 1
    assert not outcome.failures, details([outcome])


def test_a_failed_try_is_told_with_its_number_and_its_folder_is_kept(tmp_path: Path) -> None:
    """A finding or an error in one try is one failure; its folder stays, that of a good try goes."""

    def one(tried: Try) -> None:
        (tried.folder / "left.txt").write_text("x", encoding="utf-8")
        tried.counts["seen"] += 1
        if tried.number == 1:
            tried.wrong("it was lost")
        if tried.number == 2:
            raise ValueError("stumbled")

    outcome = run_tries("made up", one, Plan(4, tmp_path, jobs=2))
    assert [1, 2] == [failure.number for failure in outcome.failures]
    assert "it was lost" == outcome.failures[0].what
    assert "stumbled" in outcome.failures[1].what
    assert ["00001", "00002"] == sorted(path.name for path in (tmp_path / "made-up").iterdir())
    assert (4, 4) == (outcome.tries, outcome.counts["seen"])


def test_the_same_try_draws_the_same_numbers(tmp_path: Path) -> None:
    """A try can be seen again alone: its random numbers hang on seed, attack and number only."""
    drawn: dict[int, float] = {}

    def one(tried: Try) -> None:
        number = tried.rng.random()
        assert number == drawn.setdefault(tried.number, number)

    assert not run_tries("drawing", one, Plan(5, tmp_path)).failures
    assert not run_tries("drawing", one, Plan(1, tmp_path, first=3)).failures
    assert 5 == len(set(drawn.values()))


def test_the_table_gives_attack_tries_and_failures() -> None:
    """The table counts what failed, and says why something was skipped; the JSON has the same."""
    outcomes = [
        Outcome("kills", 1000, [Failure(7, "lost", "folder")], counts=Counter({"sealed": 3}), seconds=2),
        Outcome("signals", skipped="no compiler"),
    ]
    rows = table(outcomes).splitlines()
    assert "| kills | 1,000 | 1 | 3 sealed, 2 s |" == rows[2]
    assert "| signals | skipped | | no compiler |" == rows[3]
    assert "kills, try 7: lost" in details(outcomes)
    assert [1000, 0] == [one["tries"] for one in json.loads(json_text(outcomes))]


def test_only_whole_lines_count_as_shown() -> None:
    """A line that a killed program did not print to its end was not seen."""
    shown = printed(b"00:00.1  SAYS   Ready?\n00:00.2  KEY    1\n00:00.3  SAYS   The eng")
    assert (("Ready?",), ("1",)) == (shown.says, shown.keys)


def test_signs_that_command_a_terminal_are_found() -> None:
    """Escape, right-to-left override and the like are named; letters of any script are not."""
    assert "U+001B U+202E" == raw_signs("a\x1b[31m\u202eb\n")
    assert "" == raw_signs("café ½ Ω 日本 \t\n")
