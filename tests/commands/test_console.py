"""The progress that commands show while they work: where it goes, and when."""

from __future__ import annotations

import io
import sys

import pytest

from assistant.commands.console import ProgressBar, ProgressLine


class Terminal(io.StringIO):
    """Standard error that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def test_the_bar_shows_on_a_terminal_only_and_after_a_second(monkeypatch: pytest.MonkeyPatch) -> None:
    """A long piece of work shows how far it is, and clears its line; a short one shows nothing."""
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    clock = [0.0]
    monkeypatch.setattr("assistant.commands.console.time.monotonic", lambda: clock[0])
    bar = ProgressBar("Proving")
    bar.show(1, 4)
    assert terminal.getvalue() == ""
    clock[0] = 2.0
    bar.show(2, 4)
    assert "Proving [" in terminal.getvalue()
    assert " 50 %" in terminal.getvalue()
    bar.end()
    assert terminal.getvalue().endswith("\r\x1b[K")


def test_the_line_changes_on_a_terminal_and_is_cleared(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each thing takes the place of the one before; at the end, also after an error, the line is empty."""
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)

    def break_off() -> None:
        with ProgressLine() as line:
            line.tell("memory: 1 of 2")
            line.tell("memory: 2 of 2")
            raise ValueError("broken")

    with pytest.raises(ValueError, match="broken"):
        break_off()
    assert terminal.getvalue().split("\r\x1b[K") == ["", "memory: 1 of 2", "memory: 2 of 2", ""]


def test_the_line_is_told_once_elsewhere(capsys: pytest.CaptureFixture[str]) -> None:
    """In a file or a pipe each new thing has a line, and what changes behind its colon has none."""
    with ProgressLine() as line:
        for text in ("memory: 1 of 2", "memory: 2 of 2", "start"):
            line.tell(text)
    assert capsys.readouterr().err == "memory\nstart\n"
