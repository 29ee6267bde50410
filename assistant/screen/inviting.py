"""The address of the board on the session's own screen: a code to scan beside the picture, and a line below it.

The code takes the right-hand side of the picture while it is of use: while no tablet is on the line, if the picture
keeps its usual 80 columns, and while the session stands by, for a second tablet, if 44 columns are left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.screen.lettering import clean, columns
from assistant.screen.parts import Row

if TYPE_CHECKING:
    from assistant.core.values.board import Board
    from assistant.screen.parts import Part

_GAP = 1
_USUAL_COLUMNS = 80
_LEAST_COLUMNS = 44
"""Width that a sentence still needs; with 33 columns of code and the gap this fits on 80 columns."""

_COLOURS = "\x1b[0;97;40m"
"""White on black whatever the terminal's own colours are, because a scanner wants the light parts light (ECMA-48)."""


@dataclass(frozen=True)
class Invitation:
    """The address that admits a tablet.

    Attributes:
        address: The address.
        rows: The same as a QR code of block characters, light on dark, quiet zone included.
        awaited: No tablet is on the line.
    """

    address: str
    rows: tuple[str, ...]
    awaited: bool = True

    @property
    def width(self) -> int:
        """Columns of the code and of the gap before it."""
        return _GAP + max(map(columns, self.rows), default=0)


def room_beside(
    invitation: Invitation | None, board: Board, width: int, height: int, *, blocks: bool
) -> int | None:
    """Columns that the picture keeps beside the code; None if the code is not to be shown or does not fit.

    Args:
        invitation: The address; None without a board.
        board: What is on the board.
        width: Columns of the terminal.
        height: Lines of the terminal.
        blocks: The terminal can show block characters.
    """
    if invitation is None or not blocks or not invitation.rows or height < len(invitation.rows):
        return None
    left = width - invitation.width
    standing_by = board.mode == "standing by"
    if standing_by:
        return left if left >= _LEAST_COLUMNS else None
    return left if invitation.awaited and left >= _USUAL_COLUMNS else None


def address_part(invitation: Invitation | None, width: int) -> Part:
    """The address as a part of the picture; absent where it does not fit on one line, because half of it is no use."""
    text = f"Board: {clean(invitation.address)}" if invitation is not None else ""
    return [[Row(text)]] if text and columns(text) <= width else []


def with_code(lines: list[str], invitation: Invitation, left: int, *, colour: bool) -> list[str]:
    """The lines of a picture of `left` columns, with the code at their right.

    The code is put into its column by CHA (ECMA-48), whatever stands before it.
    """
    start, end = (_COLOURS, "\x1b[0m") if colour else ("", "")
    column = f"\x1b[{left + _GAP + 1}G"
    coded = [f"{column}{start}{row}{end}" for row in invitation.rows]
    coded += [""] * (len(lines) - len(coded))
    return [line + beside for line, beside in zip(lines, coded, strict=True)]
