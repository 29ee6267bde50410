"""The content of a terminal's picture, and the lines of it that must be written again."""

from __future__ import annotations

import dataclasses
import threading
import time
from typing import TYPE_CHECKING

from assistant.core.values.board import Board
from assistant.screen.plain import render

if TYPE_CHECKING:
    from assistant.screen.inviting import Invitation
    from assistant.screen.plain import Level

_ANEW_S = 5.0
"""All lines are written again this often, because another program may have written across the picture."""

NOTICE_S = 15.0
"""So long a notice stands beside the board's message."""


class ToShow:
    """Content for the picture: the board, the microphone's level, a notice; safe from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._board = Board()
        self._level: Level | None = None
        self._notice = ""
        self._notice_until = 0.0

    def board(self, board: Board) -> None:
        """This is on the board now."""
        with self._lock:
            self._board = board

    def level(self, level: Level) -> None:
        """This is what the microphone gives now."""
        with self._lock:
            self._level = level

    def notice(self, text: str, at: float) -> None:
        """Something else to read from now on; `at`: now, in seconds since the session began."""
        with self._lock:
            self._notice, self._notice_until = text, at + NOTICE_S

    def at(self, now: float) -> tuple[Board, Level | None]:
        """The board, with the notice that is still to be read, and the level; `now` in s."""
        with self._lock:
            board, level = self._board, self._level
            if not self._notice or now >= self._notice_until or self._notice in board.message:
                return board, level
            return dataclasses.replace(board, message=f"{self._notice} {board.message}".strip()), level


class Picture:
    """The lines that stand on a terminal.

    Args:
        colour: Use colour.
        blocks: The terminal's encoding holds block characters.
    """

    def __init__(self, *, colour: bool, blocks: bool) -> None:
        self._colour = colour
        self._blocks = blocks
        self._drawn: list[str] = []
        self._size = (0, 0)
        self._written_at = 0.0

    def changes(
        self,
        board: Board,
        level: Level | None,
        size: tuple[int, int],
        now: float,
        *,
        anew: bool,
        invitation: Invitation | None = None,
    ) -> str:
        """Text to write so that the terminal shows this; "" if it already does.

        Args:
            board: The board.
            level: The microphone's level; None while nothing is heard.
            size: Columns and rows of the terminal.
            now: Seconds since the session began, for a countdown.
            anew: Clear the terminal and write all lines.
            invitation: The address of the board for tablets.
        """
        lines = render(board, *size, now, level, self._colour, blocks=self._blocks, invitation=invitation)
        out = []
        all_lines = time.monotonic() - self._written_at >= _ANEW_S
        if size != self._size or anew:
            all_lines = True
            self._size, self._drawn = size, [""] * size[1]
            out.append("\x1b[0m\x1b[2J")
        if all_lines:
            self._written_at = time.monotonic()
        for row, (line, before) in enumerate(zip(lines, self._drawn, strict=True), start=1):
            if line != before or all_lines:
                out.append(f"\x1b[{row};1H\x1b[0m\x1b[K{line}")
        self._drawn = lines
        return "".join(out)
