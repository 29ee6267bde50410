"""The queue and the times that a session's loop watches: calls of other threads, timers, the end of a silence."""

from __future__ import annotations

import queue
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable


class Inbox:
    """Requests of other threads to the loop: calls in their order, and to leave before all of them.

    Every method is safe from any thread.

    Attributes:
        leaving: Why the loop must leave; None while it need not.
    """

    def __init__(self) -> None:
        self._calls: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self.leaving: str | None = None

    def post(self, call: Callable[[], None]) -> None:
        """Have this done by the loop."""
        self._calls.put(call)

    def leave(self, why: str) -> None:
        """Have the session closed before anything else that waits."""
        self.leaving = why
        self._calls.put(lambda: None)  # wakes the loop

    def next(self, wait_s: float) -> Callable[[], None] | None:
        """The call that waits longest; None if none comes within this time."""
        try:
            return self._calls.get(timeout=wait_s) if wait_s > 0 else self._calls.get_nowait()
        except queue.Empty:
            return None


class DueTimes:
    """Times at which something is due, in session time: the dialogue's timers, and the end of a silence.

    Attributes:
        timers: When each timer that runs will elapse, s.
        silence: When silence will have lasted long enough for a reminder, s; None while it is not counted.
    """

    def __init__(self) -> None:
        self.timers: dict[str, float] = {}
        self.silence: float | None = None

    def next_due(self) -> float | None:
        """When the next of them is due, s; None if nothing waits."""
        times = list(self.timers.values())
        if self.silence is not None:
            times.append(self.silence)
        return min(times, default=None)

    def clear(self) -> None:
        """Nothing waits any more."""
        self.timers.clear()
        self.silence = None
