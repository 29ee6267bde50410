"""Numbers for questions, and the keys of a tap, so that a late tap never answers a question that came after it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core.dialogue.states import State
from assistant.core.values.key_names import TWICE
from assistant.core.values.particulars import Asks
from assistant.keys.pad import KEYS

if TYPE_CHECKING:
    from assistant.core.values.board import Board
    from assistant.core.values.particulars import Particulars

OVER_RANGE = "over-range"
"""What a page sends for the button "over range"."""

STOP = "stop"
LONGEST_TAP = 64
"""Most characters of what one tap sends."""


_BY_POSITION = frozenset({State.ASKING, State.CRANKING, State.RESTING})
"""Here the step tells the question; the headline may count what was seen, and the keys stay what they are."""


class Questions:
    """Numbers the boards of a session: what a key means on two boards of the same number is the same.

    What was typed or heard, a message and lost gear change no meaning, so digits that are tapped quickly all count.
    """

    def __init__(self) -> None:
        self._asked: tuple[object, ...] = ()
        self.number = 0

    def ask(self, board: Board, particulars: Particulars) -> int:
        """The number of this board's question, counted from 1."""
        asked = (
            particulars.procedure,
            particulars.step,
            particulars.asks,
            board.title,
            board.step,
            "" if board.mode in _BY_POSITION else board.headline,
            board.choices,
            board.keys,
            board.mode,
            board.caution,
        )
        if asked != self._asked or not self.number:
            self._asked = asked
            self.number += 1
        return self.number


@dataclass(frozen=True)
class Tap:
    """A tap as a page sends it: names of keys separated by blanks (or `OVER_RANGE`), and the question's number."""

    names: str
    question: int

    @property
    def stops(self) -> bool:
        """Whether it is the stop, which counts whatever is asked."""
        return self.names == STOP


def keys_of(tap: Tap, question: int, board: Board, particulars: Particulars) -> tuple[str, ...]:
    """The keys that a tap presses on the present board; none if it is late or names no keys.

    Args:
        tap: The tap.
        question: The present question's number.
        board: The present board.
        particulars: What belongs to it.
    """
    if tap.stops:
        return (STOP,)
    if tap.question != question:
        return ()
    if tap.names == OVER_RANGE:
        # What was typed before goes first; without digits the same key would take the last result back.
        return (*(("minus",) if board.typed else ()), *particulars.over_range.split())
    if tap.names == TWICE:
        return ("enter",)  # the second Enter answers what is shown after the first
    keys = tuple(tap.names.split())
    if not set(keys) <= set(KEYS):
        return ()
    if len(keys) > 1 and board.typed and particulars.asks is Asks.NOTHING:
        return (*["erase"] * len(board.typed), *keys)
    return keys
