"""How commands end: output that goes nowhere, wrong use, and what nobody thought of."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from calling import ROOT, assert_clear, call

from assistant.cli import main

pytestmark = pytest.mark.usefixtures("own_home")


def test_output_that_cannot_be_written_is_said(recorded: Path) -> None:
    """Standard output on a full disk: a sentence and exit 2 (``/dev/full`` is always full, full(4))."""
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "assistant", "writeup", str(recorded)],
            cwd=ROOT,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            timeout=60,
        )
    assert 2 == done.returncode
    assert_clear(done.stderr)
    assert "No space left" in done.stderr


def test_a_reader_that_leaves_early_is_no_error(recorded: Path) -> None:
    """`| head` ends quietly, by SIGPIPE as other programs do."""
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [sys.executable, "-m", "assistant", "replay", str(recorded), "--show"],
        cwd=ROOT,
        stdout=writing,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
        timeout=60,
    )
    os.close(writing)
    assert (-signal.SIGPIPE, "") == (done.returncode, done.stderr)


def test_a_terminal_with_few_signs_is_written_to_all_the_same(recorded: Path) -> None:
    """A character that the terminal's set lacks becomes a question mark."""
    done = call("writeup", recorded, environment={"PYTHONIOENCODING": "ascii"})
    assert (0, "") == (done.returncode, done.stderr)
    assert "12.5 V" in done.stdout


@pytest.mark.parametrize("arguments", [[], ["nonesuch"], ["hear"], ["run", "--speech-rate", "fast"]])
def test_wrong_use_exits_with_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """The usage of the command and what is wrong with it."""
    with pytest.raises(SystemExit) as left:
        main(arguments)
    assert 2 == left.value.code
    assert "usage: bay-assistant" in capsys.readouterr().err


def test_a_defect_is_said_without_a_traceback_and_kept_for_its_makers(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """An error that nobody foresaw is one sentence and exit status 2, with the details in a file."""

    def fail(_folder: Path, _wanted: object, **_more: object) -> None:
        raise LookupError("nobody thought of it")

    monkeypatch.setattr("assistant.record.find_sessions", fail)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert 2 == main(["sessions", "--sessions", str(tmp_path)])
    said = capsys.readouterr().err
    assert "Traceback" not in said
    assert "nobody thought of it" in said
    kept = tmp_path / "bay-assistant" / "defect.txt"
    assert str(kept) in said
    assert "Traceback" in kept.read_text(encoding="utf-8")
