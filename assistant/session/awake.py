"""Keeps the machine awake and its screen lit while a session runs, where systemd's login manager or macOS can be asked.

A program of its own holds the lock and ends when a pipe from us ends. The kernel closes the pipe however our program
ends, also by SIGKILL, so no lock outlives a session.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import time

_ASKS = (
    (
        "systemd-inhibit",
        "--what=idle:sleep",
        "--who=bay-assistant",
        "--why=A diagnosis session is running.",
        "--mode=block",
    ),
    (
        "caffeinate",
        "-d",
        "-i",
    ),  # macOS, from memory of its manual page: display and idle sleep, while a program runs
)
"""Programs that hold sleep off while the program behind their options runs; the first that is there is asked."""

END_S = 2.0
"""Time that the program with the lock has to end, s."""


class Awake:
    """Holds sleep and the dark screen off until `close`; does nothing where no such program is there, or it refuses."""

    def __init__(self) -> None:
        self._holder: subprocess.Popen[bytes] | None = None
        asked = next((ask for ask in _ASKS if shutil.which(ask[0])), None)
        waiter = shutil.which("cat")
        if asked is None or waiter is None:
            return
        with contextlib.suppress(OSError):
            # In a session of its own, so that Ctrl-C at the terminal does not take the lock before we let it go.
            self._holder = subprocess.Popen(
                [*asked, waiter],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                start_new_session=True,
                cwd=os.sep,
            )

    @property
    def held(self) -> bool:
        """Whether the lock was asked for and not refused so far; a refusal takes a moment."""
        return self._holder is not None and self._holder.poll() is None

    def held_after(self, seconds: float) -> bool:
        """Whether it is still held after this time."""
        until = time.monotonic() + seconds
        while self.held and time.monotonic() < until:
            time.sleep(0.02)
        return self.held

    def close(self) -> None:
        """Let the machine sleep again; safe to call twice."""
        holder, self._holder = self._holder, None
        if holder is None or holder.stdin is None:
            return
        with contextlib.suppress(OSError):
            holder.stdin.close()
        try:
            holder.wait(END_S)
        except subprocess.TimeoutExpired:
            holder.kill()
            holder.wait()
