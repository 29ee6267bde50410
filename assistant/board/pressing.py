"""Which one of the tablets presses: the first that comes; another one only when it takes the keys over."""

from __future__ import annotations

import math

from assistant.board.access import Role


class Pressing:
    """The tablets on the line, by a number for each line, and the one that presses.

    Attributes:
        finished: Whether somebody has closed the board, after the session.
        asked_at: When a tablet last asked for something, s on the system's steady clock.
    """

    def __init__(self) -> None:
        self._lines: dict[int, tuple[str, Role]] = {}
        self._presses: int | None = None
        self._next = 0
        self.finished = False
        self.asked_at = -math.inf

    def join(self, cookie: str, role: Role) -> int:
        """A tablet is on the line; gives the line's number.

        It presses if nobody does, or if this browser did on a line that it has lost.
        """
        self._next += 1
        number = self._next
        held = self._lines.get(self._presses) if self._presses is not None else None
        self._lines[number] = (cookie, role)
        if role is Role.PRESS and (held is None or held[0] == cookie):
            self._presses = number
        return number

    def leave(self, number: int) -> None:
        """A line has ended."""
        self._lines.pop(number, None)
        if self._presses == number:
            self._presses = None

    def take(self, number: int) -> bool:
        """This line wants the keys; False if it may only watch."""
        line = self._lines.get(number)
        if line is None or line[1] is not Role.PRESS:
            return False
        self._presses = number
        return True

    def presses(self, number: int) -> bool:
        """Whether this line presses."""
        return self._presses == number

    def may_stop(self, number: int) -> bool:
        """Whether this line may say stop: every tablet that may press at all, because a stop never waits."""
        line = self._lines.get(number)
        return line is not None and line[1] is Role.PRESS

    def hands(self, number: int) -> str:
        """The right of this line now: ``press``, ``take`` (another tablet presses, or none does) or ``watch``."""
        if self.presses(number):
            return "press"
        return "take" if self.may_stop(number) else "watch"

    @property
    def tablets(self) -> int:
        """Number of lines."""
        return len(self._lines)
