"""Requests and times that wait for a session's loop."""

from __future__ import annotations

import threading

from assistant.session.waiting import DueTimes, Inbox


def test_calls_come_in_their_order() -> None:
    """The message that was posted first is done first, and an empty inbox gives nothing."""
    inbox, done = Inbox(), list[int]()
    for number in range(3):
        inbox.post(lambda number=number: done.append(number))  # type: ignore[misc]
    while (call := inbox.next(0.0)) is not None:
        call()
    assert done == [0, 1, 2]


def test_leaving_wakes_a_loop_that_waits() -> None:
    """A loop that waits for a call gets one when another thread asks it to leave, and sees why."""
    inbox = Inbox()
    threading.Timer(0.02, lambda: inbox.leave("interrupted")).start()
    assert inbox.next(20.0) is not None
    assert inbox.leaving == "interrupted"


def test_the_earliest_is_due_first() -> None:
    """Timers and the end of a silence are one list of times; nothing is due when all are cleared."""
    due = DueTimes()
    assert due.next_due() is None
    due.timers["rest"] = 30.0
    due.silence = 12.0
    assert due.next_due() == 12.0
    due.silence = None
    assert due.next_due() == 30.0
    due.clear()
    assert due.next_due() is None
