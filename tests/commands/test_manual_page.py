"""The man page: current, complete, and readable by `man`."""

from __future__ import annotations

import os
import shutil
import subprocess

import pytest
from manual_page import PAGE, date_of, page

from assistant.commands import COMMANDS


def rendered() -> str:
    """The page as `man` shows it in 80 columns, without backspaces; skipped where there is no `man`."""
    if shutil.which("man") is None or shutil.which("col") is None:
        pytest.skip("this machine has no man (Debian's packages man-db and groff-base)")
    environment = {**os.environ, "MANWIDTH": "80", "LC_ALL": "C.UTF-8", "MANROFFOPT": ""}
    shown = subprocess.run(
        ["man", "-l", "--warnings=w", str(PAGE)],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    assert "" == shown.stderr
    plain = subprocess.run(["col", "-bx"], input=shown.stdout, capture_output=True, text=True, check=True)
    return plain.stdout


def test_the_page_is_current(monkeypatch: pytest.MonkeyPatch) -> None:
    """Made anew from the parser it is the same; else run `python tests/commands/manual_page.py`."""
    monkeypatch.setenv("COLUMNS", "80")
    text = PAGE.read_text(encoding="utf-8")
    assert page(date_of(text)) == text


def test_man_shows_it_without_a_warning() -> None:
    """Every line fits into 80 columns; every command, and text that begins with an apostrophe, is there."""
    lines = rendered().splitlines()
    assert [] == [line for line in lines if len(line) > 80]
    told = " ".join(" ".join(lines).split())
    assert all(f"bay-assistant {command}" in told for command in COMMANDS)
    assert "'typical', or 'seed:N' for a car" in told
    for heading in ("NAME", "SYNOPSIS", "COMMANDS", "EXIT STATUS", "ENVIRONMENT", "FILES", "EXAMPLES"):
        assert heading in lines  # man-pages(7) names these sections


def test_mandoc_finds_no_mistake() -> None:
    """A second reader of the format agrees: mandoc reports nothing above matters of style."""
    if shutil.which("mandoc") is None:
        pytest.skip("this machine has no mandoc")
    done = subprocess.run(
        ["mandoc", "-T", "lint", "-W", "warning", str(PAGE)], capture_output=True, text=True, check=False
    )
    assert "" == done.stdout
