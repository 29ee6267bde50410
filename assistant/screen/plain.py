"""A board becomes lines of text, readable at two metres: few words, the one that matters in large letters.

`render` is pure.
Every part of the picture has several sizes.
All parts start absent, and a list in order of importance lets one part after the other grow as long as the
whole still fits; so the same rules fill a wall and a 20 by 6 corner.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from assistant.screen import lettering
from assistant.screen.lettering import clean, clip, columns, wrap

if TYPE_CHECKING:
    from assistant.core.values.board import Board

_MARGIN = 1
_LOWEST_DB = -60.0
_METER_COLUMNS = 24

# Signal colours as ANSI Z535.1 assigns them to the signal words; the word itself always stands there too.
_SIGNAL_STYLES = {
    "DANGER": "1;97;41",
    "WARNING": "1;30;48;5;208",
    "CAUTION": "1;30;43",
    "NOTICE": "1;97;44",
}
_STRONG = "1"
_QUIET = "2"
_ALARM = "1;7"


@dataclass(frozen=True)
class Level:
    """Level of the microphone's sound now, in dB relative to full scale.

    Attributes:
        level_db: Level of the last moment.
        noise_db: Level of the noise; None until it has been measured.
        snr_db: Signal-to-noise ratio of the last utterance, dB; None before the first.
    """

    level_db: float
    noise_db: float | None = None
    snr_db: float | None = None


class _Row(NamedTuple):
    text: str
    style: str = ""


_Part = list[list[_Row]]
"""The sizes of one part, smallest first."""


def render(
    board: Board,
    width: int,
    height: int,
    now: float,
    level: Level | None = None,
    colour: bool = False,
    *,
    blocks: bool = True,
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
    """
    inner = max(1, width - 2 * _MARGIN)
    parts = _parts(board, inner, now, level, blocks=blocks)
    sizes = _grow(parts, height)
    return [_paint(row, width, colour=colour) for row in _arrange(sizes, height)]


_ABOVE = ("title", "caution", "alarm", "headline", "lines", "countdown", "typed", "choices")
_BELOW = ("lost", "message", "heard", "keys", "level")

# Parts that may grow, in this order: (part, to which of its sizes). A size that a part lacks is skipped.
_WISHES: tuple[tuple[str, int], ...] = (
    ("caution", 1), ("headline", 1), ("typed", 1), ("countdown", 1), ("choices", 1), ("alarm", 1), ("lost", 1),
    ("lines", 1), ("lost", 2), ("message", 1), ("heard", 1), ("title", 1), ("keys", 1), ("level", 1),
    ("caution", 2), ("countdown", 2), ("typed", 2), ("headline", 2), ("choices", 2),
    ("caution", 3), ("countdown", 3), ("typed", 3), ("headline", 3), ("choices", 3),
    ("countdown", 4), ("headline", 4), ("caution", 4), ("heard", 2),
)  # fmt: skip


def _parts(board: Board, width: int, now: float, level: Level | None, *, blocks: bool) -> dict[str, _Part]:
    return {
        "title": _title(board, width),
        "caution": _caution(clean(board.caution), width, blocks=blocks),
        "alarm": [[_Row(clip("VOICE IS OFF. USE THE KEYS.", width), _ALARM)]] if board.keys_only else [],
        "headline": _large(clean(board.headline), width, _STRONG, blocks=blocks),
        "lines": _some([_Row(line) for text in board.lines for line in wrap(clean(text), width)]),
        "countdown": _countdown(board.countdown, width, now, blocks=blocks),
        "typed": _typed(clean(board.typed), width, blocks=blocks),
        "choices": _choices(board.choices, width, blocks=blocks),
        "lost": _lost(board.lost, width),
        "message": _some([_Row(line, _STRONG) for line in wrap(clean(board.message), width)]),
        "heard": _heard(clean(board.heard), width, blocks=blocks),
        "keys": _keys(board.keys, width),
        "level": _level(level, width, blocks=blocks),
    }


def _some(rows: list[_Row]) -> _Part:
    return [rows] if rows else []


def _title(board: Board, width: int) -> _Part:
    left = f"TEST {board.step}  {clean(board.title)}" if board.step else clean(board.title)
    right = "" if board.mode == "asking" else clean(board.mode).upper()
    if not (left + right).strip():
        return []
    left = clip(left.strip(), max(0, width - columns(right) - 2))
    gap = max(0, width - columns(left) - columns(right))
    return [[_Row(clip(left + " " * gap + right, width), _QUIET)]]


def _large(text: str, width: int, style: str, *, blocks: bool) -> _Part:
    """Plain, low, tall and broad letters, as far as they fit, also on two lines."""
    text = " ".join(text.split())
    if not text:
        return []
    sizes = [[_Row(line, style) for line in wrap(text.upper(), width)]]
    for letters in (lettering.low, lettering.tall, lettering.broad):
        lines = _fitted(text, width, letters, blocks=blocks)
        if lines is not None:
            sizes.append([_Row(line, style) for line in lines])
    return sizes


Letters = Callable[..., list[str] | None]


def _fitted(text: str, width: int, letters: Letters, *, blocks: bool) -> list[str] | None:
    whole = letters(text, blocks=blocks)
    if whole is None or columns(whole[0]) <= width:
        return whole
    words = text.split()
    for cut in range(len(words) - 1, 0, -1):
        first = letters(" ".join(words[:cut]), blocks=blocks)
        second = letters(" ".join(words[cut:]), blocks=blocks)
        if first and second and max(columns(first[0]), columns(second[0])) <= width:
            return [*first, "", *second]
    return None


def _caution(word: str, width: int, *, blocks: bool) -> _Part:
    word = " ".join(word.split()).upper()
    if not word:
        return []
    style = _SIGNAL_STYLES.get(word, _ALARM)
    sizes = [[_Row(clip(f"!!  {word}  !!", width), style)]]
    bar = "█" if blocks else "#"
    for letters in (lettering.low, lettering.tall, lettering.broad):
        rows = letters(word, blocks=blocks)
        if rows and columns(rows[0]) + 8 <= width:
            edge = bar * (columns(rows[0]) + 8)
            air = " " * columns(rows[0])
            under = [] if letters is lettering.low else [air]  # low letters end with half an empty row
            # A frame keeps the word a sign where there is no colour.
            framed = [edge, *(f"{bar * 2}  {row}  {bar * 2}" for row in [air, *rows, *under]), edge]
            sizes.append([_Row(row, style) for row in framed])
    return sizes


def _countdown(countdown: tuple[str, float] | None, width: int, now: float, *, blocks: bool) -> _Part:
    if countdown is None or not math.isfinite(countdown[1] - now):
        return []
    name, seconds = clean(countdown[0]), str(max(0, math.ceil(countdown[1] - now)))
    sizes = [[_Row(clip(f"{name}  {seconds} s", width), _STRONG)]]
    for letters in (lettering.low, lettering.tall, lettering.broad):
        rows = letters(seconds, blocks=blocks)  # a large "s" would read as a 5
        beside = rows and [*rows[:-1], f"{rows[-1]}   s  {name}"]
        if beside and max(map(columns, beside)) <= width:
            sizes.append([_Row(row, _STRONG) for row in beside])
    return sizes


def _typed(typed: str, width: int, *, blocks: bool) -> _Part:
    if not typed.strip():
        return []
    cursor = "▁" if blocks else "_"
    sizes = [[_Row(clip(f"keyed  {typed}{cursor}", width), _STRONG)]]
    for letters in (lettering.low, lettering.tall):
        rows = letters(f"{typed}_", blocks=blocks)
        if rows and columns(rows[0]) <= width:
            sizes.append([_Row(row, _STRONG) for row in rows])
    return sizes


def _lost(lost: Sequence[tuple[str, str]], width: int) -> _Part:
    """All missing gear; then each piece with the reason."""
    if not lost:
        return []
    pairs = [(clean(gear), clean(why)) for gear, why in lost]
    short = wrap(" ".join(f"No {gear}." for gear, _ in pairs), width)
    long = [line for gear, why in pairs for line in wrap(f"No {gear}: {why}", width)]
    return [[_Row(line, _STRONG) for line in rows] for rows in (short, long)]


def _heard(words: str, width: int, *, blocks: bool) -> _Part:
    if not words.strip():
        return []
    large = lettering.low(words, blocks=blocks)
    sizes = [[_Row(clip(f"heard  {words}", width), _STRONG)]]
    if large and columns(large[0]) <= width:
        sizes.append([_Row("heard", _QUIET), *(_Row(row) for row in large), _Row("")])
    return sizes


def _choices(choices: Sequence[tuple[str, str]], width: int, *, blocks: bool) -> _Part:
    """Plain text; large digits with the words beside them; everything large."""
    pairs = [(clean(key).strip(), clean(words).strip()) for key, words in choices]
    if not pairs:
        return []
    sizes: _Part = [
        [_Row(line, _STRONG) for line in _flow([f"[{key}] {words}" for key, words in pairs], width)]
    ]
    beside = []
    for key, words in pairs:
        digit = lettering.low(key, blocks=blocks)
        beside.append(
            digit and [row + ("  " + words.upper() if at == 1 else "") for at, row in enumerate(digit)]
        )
    if all(beside):
        rows = _side_by_side([cell for cell in beside if cell], width)
        if rows is not None:
            sizes.append([_Row(row, _STRONG) for row in rows])
    large = [lettering.low(f"{key} {words}", blocks=blocks) for key, words in pairs]
    if all(large) and max(columns(cell[0]) for cell in large if cell) <= width:
        cells = [cell for cell in large if cell]
        in_lines = _side_by_side(cells, width)
        if in_lines is not None:
            sizes.append([_Row(row, _STRONG) for row in in_lines])
    return sizes


def _flow(items: Sequence[str], width: int) -> list[str]:
    """Items side by side, broken between items where one line does not hold them."""
    lines: list[str] = []
    line = ""
    for item in items:
        if line and columns(line) + 3 + columns(item) <= width:
            line += "   " + item
            continue
        if line:
            lines.append(line)
        first, *more = wrap(item, width) or [""]
        lines.extend([first, *more[:-1]] if more else [])
        line = more[-1] if more else first
    return [*lines, line]


def _side_by_side(cells: Sequence[list[str]], width: int) -> list[str] | None:
    """Cells of equal height in columns of equal width; None if the widest does not fit."""
    gap = 4
    widest = max(columns(row) for cell in cells for row in cell)
    if widest > width:
        return None
    per_line = max(1, min(len(cells), (width + gap) // (widest + gap)))
    # Two lines of three look calmer than one of five and one of one.
    per_line = math.ceil(len(cells) / math.ceil(len(cells) / per_line))
    rows: list[str] = []
    for start in range(0, len(cells), per_line):
        line = cells[start : start + per_line]
        if rows:
            rows.append("")
        for at in range(len(line[0])):
            row = "".join(cell[at] + " " * (widest + gap - columns(cell[at])) for cell in line)
            rows.append(row.rstrip())
    return rows


def _keys(keys: Sequence[tuple[str, str]], width: int) -> _Part:
    items = [f"{clean(key)} {clean(words)}" for key, words in keys]
    return _some([_Row(line, _QUIET) for line in _flow(items, width)[:2]] if items else [])


def _level(level: Level | None, width: int, *, blocks: bool) -> _Part:
    if level is None:
        return []
    full, empty, mark = ("█", "·", "│") if blocks else ("#", ".", "|")
    length = min(_METER_COLUMNS, max(4, width // 3))
    filled = _share(level.level_db, length)
    bar = [full if at < filled else empty for at in range(length)]
    words = []
    if level.noise_db is not None and math.isfinite(level.noise_db):
        bar[min(length - 1, _share(level.noise_db, length))] = mark
        words.append(f"noise {level.noise_db:.0f} dB")
    if level.snr_db is not None and math.isfinite(level.snr_db):
        words.append(f"voice {level.snr_db:+.0f} dB over noise")
    return [[_Row(clip("  ".join(["".join(bar), *words]), width), _QUIET)]]


def _share(level_db: float, length: int) -> int:
    if not math.isfinite(level_db):
        return 0
    return round(min(1.0, max(0.0, 1.0 - level_db / _LOWEST_DB)) * length)


def _grow(parts: dict[str, _Part], height: int) -> dict[str, list[_Row]]:
    """The size that each part gets."""
    chosen: dict[str, list[_Row]] = {}
    for name, size in _WISHES:
        sizes = parts[name]
        if len(sizes) < size or (size > 1 and name not in chosen):
            continue
        used = sum(len(rows) for other, rows in chosen.items() if other != name)
        room = height - used
        # Large letters want air around them; what counts down, is keyed or warns comes before looks.
        airy = size > 2 or (size == 2 and name in ("headline", "choices", "heard"))
        wanted = len(sizes[size - 1]) + (_air(chosen, name) if airy else 0)
        if wanted <= room:
            chosen[name] = sizes[size - 1]
        elif size == 1 and room > 0:
            chosen[name] = sizes[0][:room]
    return chosen


def _air(chosen: dict[str, list[_Row]], growing: str) -> int:
    """Blank lines that are to stay: one under each part of the upper half but the last."""
    return len([name for name in _ABOVE if name in chosen or name == growing])


def _arrange(chosen: dict[str, list[_Row]], height: int) -> list[_Row]:
    """Parts in their places; spare lines go between the upper parts, the rest above the lower ones."""
    above = [chosen[name] for name in _ABOVE if name in chosen]
    below = [row for name in _BELOW if name in chosen for row in chosen[name]]
    spare = height - sum(map(len, above)) - len(below)
    rows: list[_Row] = []
    for at, part in enumerate(above):
        rows.extend(part)
        if spare > 0 and (at < len(above) - 1 or below):
            rows.append(_Row(""))
            spare -= 1
    rows.extend([_Row("")] * max(0, spare))
    rows.extend(below)
    return rows[:height]


def _paint(row: _Row, width: int, *, colour: bool) -> str:
    text = row.text.rstrip()
    if not text:
        return ""
    margin = " " * (_MARGIN if width > 2 * _MARGIN else 0)
    text = clip(text, width - columns(margin))
    return f"{margin}\x1b[{row.style}m{text}\x1b[0m" if colour and row.style else margin + text
