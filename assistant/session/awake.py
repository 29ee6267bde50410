"""Keeps the machine awake and its screen lit while a session runs, where systemd's login manager can be asked.

A program of its own holds the lock and ends when a pipe from us ends. The kernel closes the pipe however our program
ends, also by SIGKILL, so no lock outlives a session.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import time

_ASK = (
    "systemd-inhibit",
    "--what=idle:sleep",
    "--who=bay-assistant",
    "--why=A diagnosis session is running.",
    "--mode=block",
)

END_S = 2.0
"""Time that the program with the lock has to end, s."""


class Awake:
    """Holds sleep and the dark screen off until `close`; does nothing where systemd-inhibit is absent or refuses."""

    def __init__(self) -> None:
        self._holder: subprocess.Popen[bytes] | None = None
        program, waiter = shutil.which(_ASK[0]), shutil.which("cat")
        if program is None or waiter is None:
            return
        with contextlib.suppress(OSError):
            # In a session of its own, so that Ctrl-C at the terminal does not take the lock before we let it go.
            self._holder = subprocess.Popen(
                [program, *_ASK[1:], waiter],
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
