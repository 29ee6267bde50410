"""A window of a real terminal program (tmux), and what the record says it should show."""

from __future__ import annotations

import json
import shlex
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import pytest
from bay import Bay

from assistant.core.values.board import Board
from assistant.core.values.codec import from_json
from assistant.screen.plain import Level, render


@dataclass
class Window:
    """A program in a window of tmux, of so many columns and lines."""

    bay: Bay
    socket: Path
    width: int = 100
    height: int = 30

    def start(self, *arguments: str) -> None:
        """Start bay-assistant in it; when it ends, its exit status stands there."""
        if shutil.which("tmux") is None:
            pytest.fail("tmux is missing; run: bash .ci/setup test")
        command = shlex.join([sys.executable, "-m", "assistant", *arguments]) + "; echo ended: $?; sleep 600"
        self.tmux(
            "-f", "/dev/null", "new-session", "-d", "-x", str(self.width), "-y", str(self.height), command
        )

    def tmux(self, *arguments: str) -> str:
        """Give tmux an order; what it answers."""
        environment = {k: v for k, v in self.bay.environment.items() if k not in ("COLUMNS", "LINES", "TMUX")}
        done = subprocess.run(
            ["tmux", "-u", "-S", str(self.socket), *arguments],
            env={**environment, "TERM": "xterm-256color", "LANG": "C.UTF-8", "LC_ALL": "C.UTF-8"},
            check=True,
            capture_output=True,
            text=True,
            timeout=20,
        )
        return done.stdout

    def shows(self) -> list[str]:
        """The lines that can be read in it now."""
        lines = [line.rstrip() for line in self.tmux("capture-pane", "-p").splitlines()]
        return lines + [""] * (self.height - len(lines))

    def press(self, *keys: str) -> None:
        """Press keys, named as tmux does."""
        self.tmux("send-keys", *keys)

    def terminal(self) -> str:
        """The path of its terminal, as another program would open it."""
        return self.tmux("display-message", "-p", "#{pane_tty}").strip()

    def resize(self, width: int, height: int) -> None:
        """Make it of another size."""
        self.width, self.height = width, height
        self.tmux("resize-window", "-x", str(width), "-y", str(height))

    def wait_for(self, text: str, seconds: float = 60.0) -> float:
        """Wait until this can be read in it; how long it took, s."""
        begun = time.monotonic()
        while time.monotonic() - begun < seconds:
            if text in " ".join(" ".join(self.shows()).split()):
                return time.monotonic() - begun
            time.sleep(0.05)
        pytest.fail(f"{text!r} cannot be read:\n" + "\n".join(self.shows()))

    def close(self) -> None:
        """End it and the program in it."""
        subprocess.run(
            ["tmux", "-S", str(self.socket), "kill-server"], check=False, capture_output=True, timeout=20
        )


def events(sessions: Path) -> list[dict[str, object]]:
    """The events of the only session so far, as they stand in its record."""
    return [line["event"] for line in _lines(sessions)]


def _lines(sessions: Path) -> list[dict[str, object]]:
    logs = list(sessions.glob("*/log.jsonl"))
    if not logs:
        return []
    text = logs[0].read_text(encoding="utf-8")
    return [json.loads(line) for line in text[: text.rfind("\n") + 1].splitlines()]


def board(sessions: Path) -> Board:
    """Return what is on the board now, by the record."""
    shown = [
        action["board"] for line in _lines(sessions) for action in line["actions"] if action["type"] == "Show"
    ]
    made = from_json(shown[-1])
    assert isinstance(made, Board)
    return made


def speaking(sessions: Path) -> bool:
    """Whether the assistant speaks now, by the record."""
    lines = _lines(sessions)
    said = [action["utterance"] for line in lines for action in line["actions"] if action["type"] == "Say"]
    done = {line["event"]["utterance"] for line in lines if line["event"]["type"] == "SpeechFinished"}
    return bool(said) and said[-1] not in done


def wait_for_event(sessions: Path, kind: str, number: int = 1, seconds: float = 15.0, **parts: str) -> float:
    """Wait until this event stands in the record so many times; how long it took, s."""
    begun = time.monotonic()
    while time.monotonic() - begun < seconds:
        found = [e for e in events(sessions) if e["type"] == kind and parts.items() <= e.items()]
        if len(found) >= number:
            return time.monotonic() - begun
        time.sleep(0.03)
    pytest.fail(f"{kind} {parts} did not come {number} times: {events(sessions)}")


def settled(window: Window, sessions: Path, seconds: float = 10.0) -> tuple[list[str], list[str]]:
    """Return what the window shows and what it should, as soon as they are the same, or after these seconds.

    The last line, the level of the microphone, changes all the time: it is left out.
    """
    end = time.monotonic() + seconds
    while True:
        expected = render(board(sessions), window.width, window.height, 0.0, Level(-60.0, -60.0))
        shown = window.shows()
        if shown[:-1] == [line.rstrip() for line in expected][:-1] or time.monotonic() > end:
            return shown[:-1], [line.rstrip() for line in expected][:-1]
        time.sleep(0.05)
