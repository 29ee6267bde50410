"""Driving the installed executable: started in a session of its own, fed with keys, read to its last byte."""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import resource
import select
import signal
import subprocess
import sys
import termios
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import random
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path as AnyPath

LONGEST_S = 30.0
"""Nothing that is driven here takes so long, s, also on a busy machine: longer is a hang."""


def executable() -> Path:
    """The program as it was installed beside this Python.

    Raises:
        FileNotFoundError: It is not installed there.
    """
    path = Path(sys.executable).with_name("bay-assistant")
    if not path.is_file():
        raise FileNotFoundError(f"{path} is not there: install the project first, with 'bash .ci/setup test'")
    return path


def environment(home: AnyPath, more: Mapping[str, str] | None = None) -> dict[str, str]:
    """An environment in which nothing of this machine's user is read or written."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("BAY_", "XDG_"))}
    if "PYTHONPYCACHEPREFIX" not in kept:  # where a folder for compiled modules is given, they are kept there
        kept["PYTHONDONTWRITEBYTECODE"] = "1"
    return {**kept, "HOME": str(home), "TERM": "xterm", "PYTHONUNBUFFERED": "1", **(more or {})}


def session_command(sessions: AnyPath, *more: str) -> list[str]:
    """`run` with keys only, silent, line by line."""
    return ["run", "--keys-only", "--silent", "--plain", "--sessions", str(sessions), *more]


# How often each key is pressed: answers and confirmations mostly, so that the dialogue gets somewhere.
_WEIGHTS = {
    "1": 30, "2": 14, "3": 6, "4": 3, "5": 2, "0": 2, "7": 1, "9": 1, "\r": 26, "+": 4, "-": 3, "*": 2, "/": 3,
    ".": 1, " ": 1, "n": 1, "w": 2, "\x7f": 2, "\x1bOM": 2, "\x1b[A": 1, "a": 1,
}  # fmt: skip


CLOSING = b"  qqq"
"""Stop, then close: ends a session from any state, also where letters are being spelled."""


def random_keys(rng: random.Random, count: int) -> bytes:
    """Keys as a hurried person presses them: mostly plausible, some not; the session is never closed by them."""
    return "".join(rng.choices(list(_WEIGHTS), list(_WEIGHTS.values()), k=count)).encode()


@dataclass
class Driven:
    """The program while it runs.

    Attributes:
        process: The process.
        keys: Descriptor into which keys are written: a pipe, or a terminal's master; -1 when it was closed.
        out: What it has printed so far on standard output, or on its terminal.
        errors: What it has printed on standard error.
        marks: What the shim has reported, see `slow_sync.c`.
        mark_end: Where the shim's reports are read; None without a shim.
    """

    process: subprocess.Popen[bytes]
    keys: int
    out: bytearray = field(default_factory=bytearray)
    errors: bytearray = field(default_factory=bytearray)
    marks: bytearray = field(default_factory=bytearray)
    mark_end: int | None = None

    def press(self, keys: bytes) -> None:
        """Give it keys; a program that has gone takes none."""
        with contextlib.suppress(OSError):
            os.write(self.keys, keys)

    def no_more_keys(self) -> None:
        """Close the pipe, or the terminal."""
        if self.keys >= 0:
            os.close(self.keys)
            self.keys = -1

    def read(self, until_s: float, *words: bytes, marks: int = 0) -> bool:
        """Read what it prints until one of the words is there, it has ended, or the time is over.

        Args:
            until_s: `time.monotonic` at which to stop.
            words: What to wait for; none: read for the whole time.
            marks: Stop as soon as the shim has reported so many slow calls.

        Returns:
            Whether what was waited for came.
        """
        streams = {}
        if self.process.stdout is not None and self.process.stderr is not None:
            streams = {self.process.stdout.fileno(): self.out, self.process.stderr.fileno(): self.errors}
        elif self.keys >= 0:
            streams = {self.keys: self.out}
        if self.mark_end is not None:
            streams[self.mark_end] = self.marks
        while True:
            if any(word in self.out for word in words) or (marks and self.marks.count(b"(") >= marks):
                return True
            left = until_s - time.monotonic()
            if left <= 0 or not streams:
                return False
            ready, _, _ = select.select(list(streams), [], [], left)
            for stream in ready:
                try:
                    data = os.read(stream, 65536)
                except OSError:  # the other side of the terminal has gone
                    data = b""
                if data:
                    streams[stream].extend(data)
                else:
                    del streams[stream]

    def signal(self, number: int) -> None:
        """Send it a signal; one that has gone gets none."""
        with contextlib.suppress(ProcessLookupError):
            self.process.send_signal(number)

    def end(self, longest_s: float = LONGEST_S) -> int | None:
        """Read to the end and wait; the exit status, or None when it hung and had to be killed."""
        self.read(time.monotonic() + longest_s)
        try:
            status: int | None = self.process.wait(timeout=5)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait(timeout=5)
            status = None
        self.let_go()
        return status

    def kill(self) -> None:
        """SIGKILL it and read what was still in the pipes."""
        self.signal(signal.SIGKILL)
        self.end()

    def let_go(self) -> None:
        """Close all descriptors."""
        self.no_more_keys()
        for stream in (self.process.stdout, self.process.stderr):
            if stream is not None:
                stream.close()
        if self.mark_end is not None:
            os.close(self.mark_end)
            self.mark_end = None


def start(
    arguments: Sequence[str],
    home: AnyPath,
    *,
    terminal: bool = False,
    whole_terminal: bool = False,
    shim: Mapping[str, str] | None = None,
    pass_fds: Sequence[int] = (),
    limit: int | None = None,
    more: Mapping[str, str] | None = None,
) -> Driven:
    """Start the executable.

    Args:
        arguments: Command and options.
        home: Its home folder and working folder.
        terminal: Keys come from a pseudo-terminal instead of a pipe.
        whole_terminal: The pseudo-terminal is its controlling terminal and its output, too, as in a window.
        shim: Variables of the shim that stands before the C library; see `shim.py`.
        pass_fds: Descriptors that it inherits.
        limit: Largest address space, bytes; None for no limit.
        more: Other variables of its environment.
    """
    if terminal or whole_terminal:
        keys, stdin = pty.openpty()
    else:
        stdin, keys = os.pipe()
    mark_end = mark = None
    variables = {**(more or {}), **(shim or {})}
    if shim is not None:
        mark_end, mark = os.pipe()
        variables["TORTURE_MARKS"] = str(mark)
        pass_fds = (*pass_fds, mark)
    process = subprocess.Popen(
        [str(executable()), *arguments],
        stdin=stdin,
        stdout=stdin if whole_terminal else subprocess.PIPE,
        stderr=stdin if whole_terminal else subprocess.PIPE,
        env=environment(home, variables),
        cwd=home,
        pass_fds=pass_fds,
        start_new_session=True,
        preexec_fn=_prepared(limit, whole_terminal=whole_terminal),  # noqa: PLW1509
    )
    os.close(stdin)
    if mark is not None:
        os.close(mark)
    return Driven(process, keys, mark_end=mark_end)


def _prepared(limit: int | None, *, whole_terminal: bool) -> Callable[[], None]:
    """Prepare the new process before it becomes the program."""

    def prepare() -> None:
        # Started by nohup or in the background of a shell, this program hands on signals that are ignored.
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, signal.SIG_DFL)
        if limit is not None:
            resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
        if whole_terminal:
            fcntl.ioctl(0, termios.TIOCSCTTY, 0)

    return prepare


@dataclass(frozen=True)
class Ran:
    """A command that came to its end: exit status (None when it hung), what it printed."""

    status: int | None
    out: bytes
    errors: bytes


def command(
    arguments: Sequence[str],
    home: AnyPath,
    *,
    keys: bytes = b"",
    longest_s: float = LONGEST_S,
    limit: int | None = None,
) -> Ran:
    """Run a command of the executable to its end."""
    driven = start(arguments, home, limit=limit)
    driven.press(keys)
    driven.no_more_keys()
    status = driven.end(longest_s)
    return Ran(status, bytes(driven.out), bytes(driven.errors))


def spoils(ran: Ran) -> list[str]:
    """Signs that no run of the program may show, whatever was done to it."""
    shown = ran.out + ran.errors
    found = []
    if ran.status is None:
        found.append("it hung")
    elif ran.status not in (0, 1, 2):
        found.append(f"exit status {ran.status}")
    if b"Traceback (most recent call last)" in shown:
        found.append("it printed a traceback")
    if b"This is a defect" in shown:
        at = shown.index(b"This is a defect")
        found.append(f"it calls it a defect: {shown[at : at + 160].decode(errors='replace')}")
    return found
