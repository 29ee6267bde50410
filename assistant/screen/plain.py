"""A board becomes lines of text, readable at two metres: few words, the one that matters in large letters.

`render` is pure.
Every part of the picture has several sizes.
All parts start absent, and a list in order of importance lets one part after the other grow as long as the
whole still fits; so the same rules fill a wall and a 20 by 6 corner.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.screen.inviting import address_part, room_beside, with_code
from assistant.screen.lettering import clip, columns
from assistant.screen.parts import LARGE_FIRST, Level, Row, parts_of

if TYPE_CHECKING:
    from assistant.core.values.board import Board
    from assistant.screen.inviting import Invitation
    from assistant.screen.parts import Part

__all__ = ["Level", "render"]

_MARGIN = 1


def render(
    board: Board,
    width: int,
    height: int,
    now: float,
    level: Level | None = None,
    colour: bool = False,
    *,
    blocks: bool = True,
    invitation: Invitation | None = None,
) -> list[str]:
    """The picture of a board: exactly `height` lines, none wider than `width` columns.

    Args:
        board: The board to show.
        width: Columns of the terminal.
        height: Lines of the terminal.
        now: Seconds since the session began, for the countdown.
        level: Level of the microphone; None if there is none.
        colour: Use colour and weight (SGR sequences, ECMA-48); nothing depends on them.
        blocks: The terminal can show block characters; else large letters are made of ``#``.
        invitation: The address of the board for tablets; None without one.
    """
    left = room_beside(invitation, board, width, height, blocks=blocks)
    kept = width if left is None else left
    inner = max(1, kept - 2 * _MARGIN)
    parts = parts_of(board, inner, now, level, blocks=blocks)
    parts["address"] = address_part(invitation, inner)
    sizes = _grow(parts, height, board.mode)
    lines = [_paint(row, kept, colour=colour) for row in _arrange(sizes, height)]
    if left is None or invitation is None:
        return lines
    return with_code(lines, invitation, left, colour=colour)


_ABOVE = ("title", "caution", "alarm", "headline", "lines", "countdown", "typed", "choices")
_BELOW = ("lost", "message", "heard", "address", "keys", "level")

Wishes = tuple[tuple[str, int], ...]
"""Parts that may grow, in this order: (part, to which of its sizes). A size that a part lacks is skipped."""

_PRESENT: Wishes = (
    ("caution", 1), ("headline", 1), ("typed", 1), ("countdown", 1), ("choices", 1), ("alarm", 1), ("lost", 1),
    ("lines", 1), ("lost", 2), ("message", 1), ("heard", 1), ("title", 1), ("keys", 1), ("level", 1),
    ("address", 1),
)  # fmt: skip

_USUAL: Wishes = (
    ("caution", 2), ("countdown", 2), ("typed", 2), ("headline", 2), ("choices", 2), ("choices", 3), ("choices", 4),
    ("caution", 3), ("countdown", 3), ("typed", 3), ("headline", 3), ("choices", 5),
    ("countdown", 4), ("headline", 4), ("caution", 4), ("heard", 2),
)  # fmt: skip

_HEADLINE_FIRST: Wishes = (
    ("headline", 2), ("lines", 2), ("headline", 3), ("lines", 3), ("lines", 4),
    ("choices", 2), ("choices", 3), ("choices", 4), ("headline", 4), ("choices", 5),
)  # fmt: skip

_SECONDS_FIRST: Wishes = (
    ("typed", 2), ("countdown", 2), ("choices", 2), ("choices", 3), ("countdown", 3), ("headline", 2), ("countdown", 4),
    ("choices", 4), ("headline", 3), ("headline", 4), ("choices", 5),
)  # fmt: skip

_LARGER: dict[str, Wishes] = {**dict.fromkeys(LARGE_FIRST, _HEADLINE_FIRST), "cranking": _SECONDS_FIRST}


def _grow(parts: dict[str, Part], height: int, mode: str) -> dict[str, list[Row]]:
    """The size that each part gets."""
    chosen: dict[str, list[Row]] = {}
    first = mode in LARGE_FIRST
    for name, size in (*_PRESENT, *_LARGER.get(mode, _USUAL)):
        sizes = parts[name]
        if len(sizes) < size or (size > 1 and name not in chosen):
            continue
        if first and name == "choices" and size > 1 and [chosen.get("headline")] == parts["headline"][:1]:
            continue  # nothing is larger than the headline, which found no room to grow
        used = sum(len(rows) for other, rows in chosen.items() if other != name)
        room = height - used
        # Large letters want air around them; what counts down, is keyed or warns comes before looks.
        airy = size > 2 or (size == 2 and name in ("headline", "choices", "heard"))
        dense = name == "lines" or (name, size) == ("choices", 3) or (first and name == "headline")
        airy = airy and not dense
        wanted = len(sizes[size - 1]) + (_air(chosen, name) if airy else 0)
        if wanted <= room:
            chosen[name] = sizes[size - 1]
        elif size == 1 and room > 0:
            chosen[name] = sizes[0][:room]
    return chosen


def _air(chosen: dict[str, list[Row]], growing: str) -> int:
    """Blank lines that are to stay: one under each part of the upper half but the last."""
    return len([name for name in _ABOVE if name in chosen or name == growing])


def _arrange(chosen: dict[str, list[Row]], height: int) -> list[Row]:
    """Parts in their places; spare lines go between the upper parts, the rest above the lower ones."""
    above = [chosen[name] for name in _ABOVE if name in chosen]
    below = [row for name in _BELOW if name in chosen for row in chosen[name]]
    spare = height - sum(map(len, above)) - len(below)
    rows: list[Row] = []
    for at, part in enumerate(above):
        rows.extend(part)
        if spare > 0 and (at < len(above) - 1 or below):
            rows.append(Row(""))
            spare -= 1
    rows.extend([Row("")] * max(0, spare))
    rows.extend(below)
    return rows[:height]


def _paint(row: Row, width: int, *, colour: bool) -> str:
    text = row.text.rstrip()
    if not text:
        return ""
    margin = " " * (_MARGIN if width > 2 * _MARGIN else 0)
    text = clip(text, width - columns(margin))
    return f"{margin}\x1b[{row.style}m{text}\x1b[0m" if colour and row.style else margin + text
