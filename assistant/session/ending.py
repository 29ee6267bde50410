"""Signals that would end the program: they ask the one loop to close, and interrupt nothing.

A handler that raises can strike between the moment a line is on the disk and the moment the program knows it.
So here a signal raises nothing: the interpreter writes its number into a pipe (`signal.set_wakeup_fd`), and a
thread of its own reads it there and asks the loop to close, also while the main thread is inside a C library.

A second Ctrl-C or SIGTERM ends the program `PATIENCE_S` after the first one, if it has not ended by then.
It ends like after a power cut, which the record survives; only the terminal is put back first.
SIGHUP never hurries: one closed terminal sends it twice, once from the kernel and once from the shell.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
import time
from typing import TYPE_CHECKING

from assistant.closing import Closes
from assistant.keys.restoring import undo_all

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import FrameType

    Handler = Callable[[int, FrameType | None], object] | int | signal.Handlers

NUMBERS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)

PATIENCE_S = 3.0
"""Time that an orderly end has from the first signal before a second one cuts it short, s.

It takes a few tenths, most of it the write-up; the rest is for a slow disk or a busy machine.
"""

_LAST_WORDS_S = 0.5

_STOP = 0  # no signal has this number


class Ending(Closes):
    """Holds signals back from `begin` until the ``with`` block ends; then the handlers are as they were.

    A signal that is ignored (``nohup``, a job in the background of a shell) stays ignored; but not SIGINT if the keys
    come from a terminal: Ctrl-C there means this program, even if a script that ignores it has started it.
    Outside the main thread, where Python sets no handlers, nothing is changed.

    Args:
        leave: Ends the process at once with an exit status; a stand-in is for tests.
        last_words: A sentence for the terminal when a second signal ends the program at once.
    """

    def __init__(
        self,
        leave: Callable[[int], object] = os._exit,
        last_words: str = "Ended at once. What was confirmed is in the record.",
    ) -> None:
        self._leave = leave
        self._said_last = last_words
        self._lock = threading.Lock()
        self._call: Callable[[], object] | None = None
        self._asked: int | None = None
        self._since = 0.0
        self._hurry: threading.Timer | None = None
        self._before: dict[int, Handler] = {}
        self._pipe: tuple[int, int] | None = None
        self._wakeup_before = -1
        self._thread: threading.Thread | None = None

    @property
    def asked(self) -> int | None:
        """The signal that came first; None while none has come."""
        return self._asked

    def due(self) -> bool:
        """Whether a signal has asked for the end."""
        return self._asked is not None

    def begin(self) -> None:
        """From now on signals are held back."""
        if threading.current_thread() is not threading.main_thread() or self._pipe is not None:
            return
        self._pipe = os.pipe()  # children do not inherit it (PEP 446)
        os.set_blocking(self._pipe[1], False)
        self._wakeup_before = signal.set_wakeup_fd(self._pipe[1], warn_on_full_buffer=False)
        self._thread = threading.Thread(target=self._watch, args=(self._pipe[0],), name="ending", daemon=True)
        self._thread.start()
        for number in NUMBERS:
            before = signal.getsignal(number)
            taken = before != signal.SIG_IGN or (number == signal.SIGINT and _keys_from_terminal())
            if before is not None and taken:  # None: set by C code, which we cannot put back
                self._before[number] = before
                signal.signal(number, _nothing)

    def tell(self, call: Callable[[], object]) -> None:
        """Have this called, on another thread, when the program is to end; at once when it is already."""
        with self._lock:
            self._call = call
            asked = self._asked
        if asked is not None:
            call()

    def close(self) -> None:
        """Put the handlers back; safe to call twice."""
        with self._lock:
            hurry, self._hurry = self._hurry, None
        if hurry is not None:
            hurry.cancel()
        if self._pipe is None:
            return
        for number, before in self._before.items():
            signal.signal(number, before)
        self._before.clear()
        signal.set_wakeup_fd(self._wakeup_before)
        reading, writing = self._pipe
        self._pipe = None
        os.write(writing, bytes([_STOP]))
        if self._thread is not None:
            self._thread.join()
        os.close(reading)
        os.close(writing)

    def _watch(self, reading: int) -> None:
        while True:
            for number in os.read(reading, 64):
                if number == _STOP:
                    return
                if number in NUMBERS:
                    self._came(number)

    def _came(self, number: int) -> None:
        with self._lock:
            first = self._asked is None
            if first:
                self._asked, self._since = number, time.monotonic()
            call = self._call
            if not first and number != signal.SIGHUP and self._hurry is None:
                left = self._since + PATIENCE_S - time.monotonic()
                self._hurry = threading.Timer(max(0.0, left), self._at_once, [number])
                self._hurry.daemon = True
                self._hurry.start()
        if first and call is not None:
            call()

    def _at_once(self, number: int) -> None:
        with self._lock:
            if self._hurry is None:  # it ended meanwhile
                return
        # A terminal that takes nothing more (Ctrl-S, a dead line) must not hold what is to end now.
        last = threading.Thread(target=_last_words, args=[self._said_last], name="last-words", daemon=True)
        last.start()
        last.join(_LAST_WORDS_S)
        self._leave(128 + number)


def _nothing(_number: int, _frame: FrameType | None) -> None:
    """The thread that reads the pipe does it all."""


def _keys_from_terminal() -> bool:
    try:
        return sys.stdin.isatty()
    except (AttributeError, ValueError):  # there is none, or it is closed
        return False


def _last_words(sentence: str) -> None:
    undo_all()
    with contextlib.suppress(OSError):
        os.write(2, f"\nbay-assistant: {sentence}\n".encode())
