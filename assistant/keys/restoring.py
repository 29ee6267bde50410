"""What is done to a terminal is undone, however the program ends (all but SIGKILL)."""

from __future__ import annotations

import atexit
import contextlib
import signal
import threading
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import FrameType


class Undo:
    """Runs `action` once: when called, at the interpreter's exit, or on a signal that would end the program.

    A terminating signal that nobody handles ends the program without running anything; while an `Undo` is
    pending such a signal raises `SystemExit` in the main thread instead, so that every ``with`` block ends
    properly and the exit status is still the customary 128 plus the signal's number.
    """

    def __init__(self, action: Callable[[], object]) -> None:
        self._action: Callable[[], object] | None = action
        self._lock = threading.RLock()
        atexit.register(self)
        _leave_politely()

    def __call__(self) -> None:
        """Undo now; the second call does nothing."""
        with self._lock:
            action, self._action = self._action, None
            if action is not None:
                with contextlib.suppress(Exception):
                    action()
                atexit.unregister(self)


def _leave_politely() -> None:
    if threading.current_thread() is not threading.main_thread():
        return  # only the main thread may set handlers; `atexit` still covers the other endings
    for number in (signal.SIGTERM, signal.SIGHUP):
        if signal.getsignal(number) == signal.SIG_DFL:
            signal.signal(number, _leave)


def _leave(number: int, _frame: FrameType | None) -> None:
    raise SystemExit(128 + number)
