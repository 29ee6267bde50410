"""While the board is drawn, nothing that a C library writes reaches the terminal.

PortAudio, ALSA and libpulse tell their troubles on descriptor 2, past Python and in the middle of the picture, just
when the sound has gone and the screen is all that a technician has.
`Quiet` leads the descriptors that point to the drawn terminal into a file meanwhile, and back afterwards.
"""

from __future__ import annotations

import contextlib
import os
import stat
import sys
from datetime import datetime
from pathlib import Path
from typing import TextIO

from assistant.errors import UsageProblem
from assistant.places import state_folder

LIMIT_BYTES = 256 * 1024
"""The file does not grow beyond this (looked at while the board is drawn, at least twice a second)."""

KEPT_BYTES = 64 * 1024
"""So much of its end is kept when it has grown too large."""

_CONTROLLING = Path("/dev/tty")
"""Whatever terminal controls the program; its device number is another one on each system."""


def log_path() -> Path:
    """The file for messages of the sound libraries, in the program's state folder.

    Raises:
        UsageProblem: The home folder is wanted and not known.
    """
    return state_folder() / "sound.log"


def can_keep() -> bool:
    """Whether the messages can be kept in `log_path`; nothing is created. Else they are dropped."""
    try:
        path = log_path()
        while not os.path.lexists(path):
            path = path.parent
        there = path == log_path()
        right_kind = path.is_file() and not path.is_symlink() if there else path.is_dir()
        return right_kind and os.access(path, os.W_OK if there else os.W_OK | os.X_OK)
    except (OSError, UsageProblem):
        return False


class Quiet:
    """Leads those of descriptors 1 and 2 that are the terminal of `stream` into the file `log_path`.

    If the file cannot be made (or is not a plain file), the messages are dropped.
    If neither descriptor is that terminal, nothing changes.

    Attributes:
        out: A text stream onto the terminal, for whoever draws: `stream` itself, or a copy where its descriptor
            was led away.
    """

    def __init__(self, stream: TextIO) -> None:
        self.out = stream
        self._saved: list[tuple[int, int]] = []
        self._log = -1
        try:
            terminal = os.fstat(stream.fileno())
            led = [number for number in (1, 2) if _is(number, terminal)]
        except (OSError, ValueError):
            return
        if not led:
            return
        _flush()
        try:
            self._log = _open_log()
            if stream.fileno() in led:
                copy = os.dup(stream.fileno())
                self.out = os.fdopen(copy, "w", encoding=stream.encoding, errors=stream.errors)
            for number in led:
                self._saved.append((number, os.dup(number)))
                os.dup2(self._log, number)
        except OSError:
            self.restore()

    def trim(self) -> None:
        """Keep the file below its limit, also through a session of many hours; cheap, call it often."""
        if self._log < 0:
            return
        with contextlib.suppress(OSError):
            size = os.fstat(self._log).st_size
            if size > LIMIT_BYTES:
                end = os.pread(self._log, KEPT_BYTES, size - KEPT_BYTES)
                os.ftruncate(self._log, 0)
                os.write(self._log, end)

    def restore(self) -> None:
        """Lead the descriptors back to the terminal; safe to call twice. `out` stays as it is."""
        if self._saved:
            _flush()  # what Python still holds was written while they were led away
        while self._saved:
            number, copy = self._saved.pop()
            with contextlib.suppress(OSError):
                os.dup2(copy, number)
            with contextlib.suppress(OSError):
                os.close(copy)
        if self._log >= 0:
            os.close(self._log)
            self._log = -1


def _is(number: int, terminal: os.stat_result) -> bool:
    try:
        if not os.isatty(number):
            return False
        device = os.fstat(number).st_rdev
        return device == terminal.st_rdev or device == _CONTROLLING.stat().st_rdev
    except OSError:
        return False


def _flush() -> None:
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(Exception):
            stream.flush()


def _open_log() -> int:
    """The file, open for appending, private; `os.devnull` if it cannot be had.

    Raises:
        OSError: Not even that can be opened.
    """
    number = -1
    try:
        path = log_path()
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        # O_NONBLOCK: a pipe in its place must not hold the session; O_NOFOLLOW: nor a link lead elsewhere.
        flags = os.O_RDWR | os.O_APPEND | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_NOCTTY
        number = os.open(path, flags | os.O_CLOEXEC, 0o600)
        if not stat.S_ISREG(os.fstat(number).st_mode):
            raise OSError("not a plain file")  # noqa: TRY301
        os.fchmod(number, 0o600)
        when = datetime.now().astimezone().isoformat(timespec="seconds")
        os.write(number, f"-- {when}: a session begins to draw its board.\n".encode())
    except (OSError, UsageProblem):
        if number >= 0:
            os.close(number)
        return os.open(os.devnull, os.O_RDWR | os.O_CLOEXEC)
    return number
