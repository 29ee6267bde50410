"""On Windows the program refuses in a sentence; on macOS it calls nothing that only Linux has."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from other_systems import lacking

from assistant.systems import refusal

SUPPORT = Path(__file__).with_name("support")


def on(platform: str, *command: str, home: Path, keys: str = "") -> subprocess.CompletedProcess[str]:
    """Run bay-assistant as if it were on another system."""
    return subprocess.run(
        [sys.executable, str(SUPPORT / "other_systems.py"), platform, *command],
        input=keys,
        cwd=home,
        env={**os.environ, "HOME": str(home), "PYTHONPATH": str(SUPPORT.parents[1])},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )


@pytest.mark.parametrize("platform", ["linux", "darwin"])
def test_linux_and_macos_are_not_refused(platform: str) -> None:
    """The names of these systems are those that Python gives them (the library's manual, sys.platform)."""
    assert refusal(platform) == ""


@pytest.mark.parametrize("command", [["demo"], ["--help"], ["run", "--nonsense"]])
def test_windows_is_refused_before_anything_else(command: list[str], tmp_path: Path) -> None:
    """Without fcntl, termios and their kin: one sentence, exit status 2, no file, nothing of the program loaded."""
    done = on("win32", *command, home=tmp_path)
    assert 2 == done.returncode
    assert f"{refusal('win32')}\n" == done.stderr
    assert "loaded: assistant assistant.cli assistant.systems\n" == done.stdout
    assert [] == list(tmp_path.iterdir())


def test_the_refusal_is_one_sentence() -> None:
    """Someone who tries it on Windows reads one sentence, which says what to use instead."""
    sentence = refusal("win32")
    assert sentence.endswith(".")
    assert 1 == sentence.count(".")
    assert "use it on one of those" in sentence


def test_typeshed_tells_what_macos_lacks() -> None:
    """The names that this file removes include two that the library's manual states as absent on macOS."""
    assert {"pipe2", "fdatasync"} <= lacking("darwin", "os")
    assert not {"fsync", "open", "O_NOFOLLOW", "fstatvfs"} & lacking("darwin", "os")


def test_a_session_runs_with_what_macos_has(tmp_path: Path) -> None:
    """A session by keys is recorded, closed, verified and written up where macOS keeps a program's data."""
    words = ("--keys-only", "--silent", "--order", "4711", "--complaint", "cranks", "--technician", "JD")
    done = on("darwin", "run", *words, keys="qq", home=tmp_path)
    assert (0, "") == (done.returncode, done.stderr)
    # Apple's File System Programming Guide: Application Support
    (session,) = (tmp_path / "Library/Application Support/bay-assistant/sessions").glob("20*")
    assert (session / "write-up.txt").is_file()
    assert 0 == on("darwin", "verify", str(session), home=tmp_path).returncode


def test_a_pad_beside_the_terminal_is_linux_only(tmp_path: Path) -> None:
    """Where Linux's input devices are missing, `run --pad` says so and begins nothing."""
    done = on("darwin", "run", "--keys-only", "--silent", "--pad", "any", home=tmp_path)
    assert 2 == done.returncode
    assert "Only Linux lets a number pad be read without the terminal" in done.stderr
