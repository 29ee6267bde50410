"""Undoes changes to a terminal, however the program ends (except by SIGKILL)."""

from __future__ import annotations

import atexit
import contextlib
import signal
import threading
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import FrameType

_NUMBERS = (signal.SIGTERM, signal.SIGHUP)

_lock = threading.RLock()
_pending: list[Undo] = []
_installed: list[int] = []


class Undo:
    """Runs `action` once: when called, at the interpreter's exit, or on a signal that would end the program.

    An unhandled terminating signal ends the program without running anything. While an `Undo` is pending, such
    a signal raises `SystemExit` in the main thread instead, so every ``with`` block ends properly and the exit
    status is still the customary 128 plus the signal's number. After the last one has run, the original
    handlers are back.
    A session on real gear holds signals back itself (`assistant.session.ending`); its handlers stay.
    """

    def __init__(self, action: Callable[[], object]) -> None:
        self._action: Callable[[], object] | None = action
        atexit.register(self)
        with _lock:
            _pending.append(self)
            _leave_politely()

    def __call__(self) -> None:
        """Undo now; a second call does nothing."""
        with _lock:
            action, self._action = self._action, None
            if action is None:
                return
            with contextlib.suppress(Exception):
                action()
            atexit.unregister(self)
            _pending.remove(self)
            if not _pending:
                _leave_as_before()


def undo_all() -> None:
    """Undo everything that is pending, the latest first."""
    with _lock:
        for undo in reversed(_pending.copy()):
            undo()


def _leave_politely() -> None:
    if threading.current_thread() is not threading.main_thread():
        return  # only the main thread may set handlers; `atexit` still covers the other endings
    for number in _NUMBERS:
        if signal.getsignal(number) == signal.SIG_DFL:
            signal.signal(number, _leave)
            _installed.append(number)


def _leave_as_before() -> None:
    if threading.current_thread() is not threading.main_thread():
        return
    while _installed:
        number = _installed.pop()
        if signal.getsignal(number) is _leave:
            signal.signal(number, signal.SIG_DFL)


def _leave(number: int, _frame: FrameType | None) -> None:
    raise SystemExit(128 + number)
