"""While the board is drawn, what is written to descriptors 1 and 2 goes to a private file, not to the terminal.

Each test starts a program in a pseudo terminal of its own, because descriptors belong to a whole process.
"""

from __future__ import annotations

import os
import pty
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from assistant.screen import quiet

PROGRAM = """
import os, sys, time
from assistant.core.values.board import Board
from assistant.screen.terminal import open_screen

with open_screen(sys.stdout, lambda: 0.0, lines="lines" in sys.argv) as screen:
    screen.show(Board(message="the board"), 0.0)
    time.sleep(0.3)
    os.write(2, b"underrun occurred\\n")
    os.write(1, b"from a library\\n")
    print("a thread's last words", file=sys.stderr)
    time.sleep(0.3)
print("the session is closed")
print("and an error for the technician", file=sys.stderr)
"""


def drawn(state: Path, *arguments: str, stderr: int | None = None) -> str:
    """Return what the terminal gets of a program that draws and, meanwhile, writes elsewhere."""
    outer, inner = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, *arguments],
        stdin=inner,
        stdout=inner,
        stderr=inner if stderr is None else stderr,
        env={**os.environ, "XDG_STATE_HOME": str(state), "TERM": "xterm"},
    )
    os.close(inner)
    got = b""
    while True:
        try:
            data = os.read(outer, 65536)
        except OSError:
            break
        got += data
    os.close(outer)
    assert 0 == process.wait(timeout=30)
    return got.decode("utf-8")


def test_foreign_messages_go_to_the_file_and_ours_come_after(tmp_path: Path) -> None:
    """The terminal gets the board and what is said afterwards; the file, private, gets the rest."""
    seen = drawn(tmp_path)
    log = tmp_path / "bay-assistant" / "sound.log"
    text = log.read_text(encoding="utf-8")
    for foreign in ("underrun occurred", "from a library", "a thread's last words"):
        assert foreign not in seen
        assert foreign in text
    assert "the board" in seen
    after = seen[seen.index("\x1b[?1049l") :]
    assert "the session is closed" in after
    assert "and an error for the technician" in after
    assert 0o600 == stat.S_IMODE(log.stat().st_mode)
    assert 0o700 == stat.S_IMODE(log.parent.stat().st_mode)


def test_a_second_session_adds_to_the_file(tmp_path: Path) -> None:
    """The messages of an earlier session stay, and a file that was open to others is made private."""
    log = tmp_path / "bay-assistant" / "sound.log"
    log.parent.mkdir()
    log.write_text("of an earlier session\n", encoding="utf-8")
    log.chmod(0o644)
    drawn(tmp_path)
    text = log.read_text(encoding="utf-8")
    assert text.startswith("of an earlier session\n")
    assert "underrun occurred" in text
    assert 0o600 == stat.S_IMODE(log.stat().st_mode)


@pytest.mark.parametrize("hindrance", ["pipe", "link", "folder", "no state folder"])
def test_without_the_file_the_messages_are_dropped(tmp_path: Path, hindrance: str) -> None:
    """A pipe, a link or a folder in its place: nothing is held up or followed, and the board stays whole."""
    log = tmp_path / "bay-assistant" / "sound.log"
    elsewhere = tmp_path / "elsewhere"
    if hindrance == "no state folder":
        log.parent.write_text("", encoding="utf-8")
    else:
        log.parent.mkdir()
    match hindrance:
        case "pipe":
            os.mkfifo(log)
        case "link":
            log.symlink_to(elsewhere)
        case "folder":
            log.mkdir()
    seen = drawn(tmp_path)
    assert "underrun" not in seen
    assert "the board" in seen
    assert "and an error for the technician" in seen
    assert not elsewhere.exists()


def test_lines_are_left_alone(tmp_path: Path) -> None:
    """A screen of printed lines leads nothing away: a message between two lines harms nothing."""
    assert "underrun occurred" in drawn(tmp_path, "lines")
    assert not (tmp_path / "bay-assistant").exists()


def test_a_descriptor_that_was_led_elsewhere_stays_there(tmp_path: Path) -> None:
    """Errors that the caller has sent to a file of his own still go there."""
    own = tmp_path / "errors.txt"
    with own.open("wb") as file:
        drawn(tmp_path, stderr=file.fileno())
    assert "underrun occurred" in own.read_text(encoding="utf-8")


def test_the_file_stays_small(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Grown over its limit it is cut to its end; what is written next follows."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    made = object.__new__(quiet.Quiet)
    made._saved = []
    made._log = quiet._open_log()
    os.write(made._log, b"old" + b"x" * quiet.LIMIT_BYTES)
    made.trim()
    os.write(made._log, b"new")
    made.restore()
    text = quiet.log_path().read_bytes()
    assert quiet.KEPT_BYTES + 3 == len(text)
    assert text.endswith(b"xnew")


def test_the_state_folder_is_found_as_the_standard_says(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """XDG_STATE_HOME counts when it is an absolute path, else ~/.local/state."""
    monkeypatch.setenv("HOME", str(tmp_path))
    for relative in ("", "state", "./state"):
        monkeypatch.setenv("XDG_STATE_HOME", relative)
        assert tmp_path / ".local/state/bay-assistant/sound.log" == quiet.log_path()
    monkeypatch.setenv("XDG_STATE_HOME", "/var/state")
    assert Path("/var/state/bay-assistant/sound.log") == quiet.log_path()
