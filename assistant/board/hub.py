"""Stands between the session's loop and the server: a screen for the one, the present state for the other.

The loop calls the methods of a `Screen`; the server asks for the present state and hands over taps.
Nothing here waits: what a slow tablet has not fetched is replaced by what is newer.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from assistant.board.questions import LONGEST_TAP, Questions, Tap, keys_of
from assistant.board.view import countdown, level as level_shares, view
from assistant.core.dialogue.states import State
from assistant.core.values.board import Board
from assistant.core.values.particulars import Particulars
from assistant.screen.drawing import NOTICE_S

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assistant.board.pictures import Pictures
    from assistant.core.library.procedure import Measurement
    from assistant.screen.parts import Level

_WITH_DRAWING = frozenset(
    {
        State.CAUTIONING,
        State.ACKNOWLEDGING,
        State.RESTING,
        State.ASKING,
        State.CRANKING,
        State.READING_BACK,
        State.STANDING_BY,
    }
)
"""States in which somebody may look where a lead goes."""

DRAWINGS = "/drawings/"
"""Where the server has the drawings."""


class DialoguePosition(Protocol):
    """The dialogue as far as a board shows it; asked on the session's loop only."""

    def particulars(self) -> Particulars:
        """What belongs to the present step."""

    def connected(self) -> tuple[str, Measurement] | None:
        """The circuit and the measurement of the present step; None before the first."""


@dataclass(frozen=True)
class ShownBoard:
    """A board with what belongs to it."""

    board: Board
    particulars: Particulars
    question: int
    drawing: tuple[str, str] | None


class Hub:
    """The present state of the session for the tablets, and their taps for the session; a `Screen` of the session.

    Args:
        now: Seconds since the session began.
        position: The dialogue.
        pictures: The drawings.

    Attributes:
        over: Folder of the session once it is over; None before.
    """

    def __init__(self, now: Callable[[], float], position: DialoguePosition, pictures: Pictures) -> None:
        self._now = now
        self._position = position
        self.pictures = pictures
        self._questions = Questions()
        self._lock = threading.Lock()
        self._shown = ShownBoard(Board(mode=State.UNOPENED.value), Particulars(), 0, None)
        self._level: Level | None = None
        self._notice = ("", 0.0)
        self._said = ""
        self.over: Path | None = None
        self.changed: Callable[[], None] = lambda: None
        self.press: Callable[[Callable[[], tuple[str, ...]]], None] = lambda _keys: None

    # --- what the session shows (see `assistant.screen.terminal.Screen`) ----------------------------

    def show(self, board: Board, at: float) -> None:  # noqa: ARG002
        """This is on the board now."""
        particulars = self._position.particulars()
        place = self._position.connected() if board.mode in _WITH_DRAWING else None
        found = self.pictures.of(*place) if place is not None else None
        with self._lock:
            number = self._questions.ask(board, particulars)
            drawing = (DRAWINGS + found[0] + ".svg", found[1]) if found else None
            self._shown = ShownBoard(board, particulars, number, drawing)
        self.changed()

    def level(self, level: Level) -> None:
        """This is what the microphone gives now; it goes out with the next beat of the server."""
        self._level = level

    def says(self, text: str, at: float) -> None:  # noqa: ARG002
        """The assistant says this; those who cannot see the board have it read to them."""
        self._said = text
        self.changed()

    def heard(self, words: str, at: float, *, understood: bool = True) -> None:
        """Nothing: the board has what was heard."""

    def key(self, name: str, at: float) -> None:
        """Nothing: the board has what was keyed."""

    def notice(self, text: str, at: float) -> None:
        """Something else to read."""
        self._notice = (text, at + NOTICE_S)
        self.changed()

    def redraw(self) -> None:
        """Nothing: a page disturbs no terminal."""

    def close(self) -> None:
        """Nothing: the server is closed by whoever opened it."""

    def ended(self, folder: Path) -> None:
        """The session in this folder is over, and its write-up is made."""
        self.over = folder
        self.changed()

    # --- what the server asks for and hands over ----------------------------------------------------

    def state(self) -> dict[str, Any]:
        """All that a page shows now."""
        with self._lock:
            shown = self._shown
        now = self._now()
        text, until = self._notice
        return {
            "kind": "board",
            **view(shown.board, shown.particulars, question=shown.question, drawing=shown.drawing),
            "countdown": countdown(shown.board, now),
            "notice": text if now < until and text not in shown.board.message else "",
            "said": self._said,
            "ended": "" if self.over is None else self.over.name,
        }

    def level_now(self) -> dict[str, Any] | None:
        """The microphone's level for the page's meter; None while nothing is measured."""
        return None if self._level is None else {"kind": "level", **level_shares(self._level)}

    def tap(self, tap: Tap, late: Callable[[], None]) -> None:
        """A tablet that may press was tapped; `late` is called on the session's loop if the tap comes too late."""
        if len(tap.names) > LONGEST_TAP:
            return

        def keys() -> tuple[str, ...]:
            with self._lock:
                shown = self._shown
            found = keys_of(tap, shown.question, shown.board, shown.particulars)
            if not found and tap.question != shown.question:
                late()
            return found

        self.press(keys)
