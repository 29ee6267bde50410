"""Several screens that show the same session."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assistant.core.values.board import Board
    from assistant.screen.plain import Level
    from assistant.screen.terminal import Screen


class SeveralScreens:
    """Shows on each of these what a `Screen` shows."""

    def __init__(self, *screens: Screen) -> None:
        self._screens = screens

    def show(self, board: Board, at: float) -> None:
        """This is on the board now."""
        for screen in self._screens:
            screen.show(board, at)

    def level(self, level: Level) -> None:
        """This is what the microphone gives now."""
        for screen in self._screens:
            screen.level(level)

    def says(self, text: str, at: float) -> None:
        """The assistant begins to say this."""
        for screen in self._screens:
            screen.says(text, at)

    def heard(self, words: str, at: float, *, understood: bool = True) -> None:
        """The person said this."""
        for screen in self._screens:
            screen.heard(words, at, understood=understood)

    def key(self, name: str, at: float) -> None:
        """The person pressed this key."""
        for screen in self._screens:
            screen.key(name, at)

    def notice(self, text: str, at: float) -> None:
        """Something else to read."""
        for screen in self._screens:
            screen.notice(text, at)

    def redraw(self) -> None:
        """Something may have disturbed the picture."""
        for screen in self._screens:
            screen.redraw()

    def close(self) -> None:
        """Leave all of them."""
        for screen in self._screens:
            screen.close()
