"""Commands called as a person does, in this process or in one of their own, for the tests of this folder."""

from __future__ import annotations

import contextlib
import os
import queue
import resource
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from assistant import resources
from assistant.cli import main
from assistant.core.values.entries import ResultTaken
from assistant.core.values.events import Note
from assistant.record import read_session

ROOT = Path(__file__).resolve().parents[2]
SOUNDS = resources.directory("audio_fixtures")
KEYS_ONLY = ("--keys-only", "--silent", "--plain")


class Refused:
    """Calls the command line in this process and gives the one sentence with which it refuses."""

    def __init__(self, capture: pytest.CaptureFixture[str]) -> None:
        self._capture = capture

    def __call__(self, *arguments: object, status: int = 2) -> str:
        self._capture.readouterr()
        assert status == main([str(argument) for argument in arguments])
        said = self._capture.readouterr()
        assert_clear(said.err)
        return said.err


def assert_clear(text: str) -> None:
    """One message to a person: it names the program, is a sentence, and is no defect and no traceback."""
    assert text.startswith("bay-assistant: ")
    assert text.count("bay-assistant: ") == 1
    last = text.rstrip().rsplit(". ", 1)[-1]
    assert last[-1] in ".?" or any(command in last for command in ("bay-assistant run", "apt install"))
    assert "Traceback" not in text
    assert "defect" not in text


def call(*arguments: object, environment: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    """The program itself, in a process of its own, without keys."""
    return subprocess.run(
        [sys.executable, "-m", "assistant", *map(str, arguments)],
        cwd=ROOT,
        env={**os.environ, **(environment or {})},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
        stdin=subprocess.DEVNULL,
    )


class Piped:
    """A session in a process of its own that gets its keys through a pipe.

    Args:
        arguments: More arguments of `run`.
        file_limit: Largest file that it may write, bytes.
    """

    def __init__(self, *arguments: object, file_limit: int | None = None) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-m", "assistant", "run", *KEYS_ONLY, *map(str, arguments)],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        if file_limit is not None:
            resource.prlimit(self.process.pid, resource.RLIMIT_FSIZE, (file_limit, file_limit))
        self.text = ""
        self._lines: queue.Queue[str | None] = queue.Queue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._lines.put(line)
        self._lines.put(None)

    def wait_for(self, words: str, seconds: float = 30.0) -> None:
        """Wait until a line with these words comes."""
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0:
            try:
                line = self._lines.get(timeout=left)
            except queue.Empty:
                break
            if line is None:
                break
            self.text += line
            if words in line:
                return
        self.process.kill()
        pytest.fail(f"{words!r} did not come:\n{self.text}")

    def press(self, keys: str) -> None:
        """Press keys."""
        assert self.process.stdin is not None
        self.process.stdin.write(keys)
        self.process.stdin.flush()

    def ended(self) -> tuple[int, str]:
        """Wait for the end without pressing anything more: exit status and standard error."""
        assert self.process.stdin is not None
        assert self.process.stderr is not None
        error = self.process.stderr.read()
        status = self.process.wait(timeout=30)
        self._reader.join(timeout=10)
        while (line := self._lines.get()) is not None:
            self.text += line
        with contextlib.suppress(BrokenPipeError):  # it ended before it had read all keys
            self.process.stdin.close()
        self.process.stderr.close()
        return status, error


def until_a_result(program: Piped) -> None:
    """Through the first cautions to the first result, 12.5 V, affirmed."""
    program.wait_for("Keys only")
    program.press("\r")
    program.wait_for("Key the volts")
    program.press("12.5\r")
    program.wait_for("Yes or no")
    program.press("\r")
    program.wait_for("engine and fans will turn")


def results(folder: Path) -> list[tuple[str, str]]:
    """Steps and values of a session."""
    entries = [
        action.entry
        for line in read_session(folder).lines
        for action in line.actions
        if isinstance(action, Note)
    ]
    return [(entry.step, str(entry.value)) for entry in entries if isinstance(entry, ResultTaken)]


def change(path: Path, old: str, new: str) -> int:
    """Replace a piece of a text file; the line that it stands in."""
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return text[: text.index(old)].count("\n") + 1


def line_of(grammar: str, piece: str) -> int:
    """The line of a shipped grammar in which this stands."""
    text = (resources.directory("grammars") / grammar).read_text(encoding="utf-8")
    return next(number for number, line in enumerate(text.splitlines(), start=1) if piece in line)


def lacking(folder: Path, module: str, error: str) -> dict[str, str]:
    """An environment in which a module fails as it does where its system library is missing."""
    folder.mkdir()
    (folder / f"{module}.py").write_text(f"raise OSError({error!r})\n", encoding="utf-8")
    return {"PYTHONPATH": f"{folder}{os.pathsep}{ROOT}"}


_NOT_FOUND = """
import ctypes.util

_find = ctypes.util.find_library
ctypes.util.find_library = lambda name: None if "portaudio" in name else _find(name)
"""


def without_portaudio(folder: Path) -> dict[str, str]:
    """An environment in which the system's loader finds no PortAudio; the real sounddevice then fails by itself."""
    folder.mkdir()
    (folder / "sitecustomize.py").write_text(_NOT_FOUND, encoding="utf-8")
    return {"PYTHONPATH": f"{folder}{os.pathsep}{ROOT}"}
