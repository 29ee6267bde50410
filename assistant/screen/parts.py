"""The parts of a board's picture, each in several sizes, smallest first.

No size of a part breaks a word: large letters go on in another line only between words, and a word that is too long
for them leaves that size out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from assistant.core.values.key_names import label
from assistant.screen import lettering
from assistant.screen.lettering import clean, clip, columns, fit, wrap

if TYPE_CHECKING:
    from assistant.core.values.board import Board

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


class Row(NamedTuple):
    """A line of the picture: its text, and its style as numbers of an SGR sequence."""

    text: str
    style: str = ""


Part = list[list[Row]]
"""The sizes of one part, smallest first."""


MODE_WORDS = {
    "asking": "",
    "inquiring": "",
    "cautioning": "",
    "acknowledging": "",
    "confirming": "right?",
    "reading back": "right?",
    "concluding": "result",
    "noting": "recording",
    "finished": "closed",
}
"""Words for the mode on the right of the title; another mode is shown by its name, and these say nothing new."""


def parts_of(board: Board, width: int, now: float, level: Level | None, *, blocks: bool) -> dict[str, Part]:
    """Every part of the picture of a board; empty for a part that has nothing to show."""
    left_out = {gear for gear, why in board.lost if not why}
    told = board.keys_only and "microphone" not in left_out
    return {
        "title": _title(board, width),
        "caution": _caution(clean(board.caution), width, blocks=blocks),
        "alarm": [[Row(fit("CAN'T HEAR YOU. USE THE KEYS.", width), _ALARM)]] if told else [],
        "headline": _large(clean(board.headline), width, _STRONG, blocks=blocks),
        "lines": _lines(board, width),
        "countdown": _countdown(board.countdown, width, now, blocks=blocks),
        "typed": _typed(clean(board.typed), width, blocks=blocks),
        "choices": _choices(board.choices, width, blocks=blocks),
        "lost": _lost(board.lost, width),
        "message": _some([Row(line, _STRONG) for line in wrap(clean(board.message), width)]),
        "heard": _heard(clean(board.heard), width, blocks=blocks),
        "keys": _keys(board.keys, width),
        "level": _level(level, width, blocks=blocks),
    }


def _some(rows: list[Row]) -> Part:
    return [rows] if rows else []


def _title(board: Board, width: int) -> Part:
    left = f"TEST {board.step}: {clean(board.title)}" if board.step else clean(board.title)
    right = clean(MODE_WORDS.get(board.mode, board.mode)).upper()
    if not (left + right).strip():
        return []
    left = fit(left.strip(), max(0, width - columns(right) - 2))
    gap = max(0, width - columns(left) - columns(right))
    return [[Row(clip(left + " " * gap + right, width), _QUIET)]]


def _lines(board: Board, width: int) -> Part:
    """All instructions; after a verdict first one of them, because the cause above it is to be large."""
    wrapped = [[Row(line) for line in wrap(clean(text), width)] for text in board.lines]
    first = 1 if board.mode in LARGE_FIRST else len(wrapped)
    sizes = [[row for rows in wrapped[:end] for row in rows] for end in range(first, len(wrapped) + 1)]
    return [rows for rows in sizes if rows]


LARGE_FIRST = ("concluding", "reading back")
"""Modes in which the headline is the largest of all, before the instructions are whole."""


def _large(text: str, width: int, style: str, *, blocks: bool) -> Part:
    """Plain, low, tall and broad letters, as far as whole words fit."""
    text = " ".join(text.split())
    if not text:
        return []
    sizes = [[Row(line, style) for line in wrap(text.upper(), width)]]
    for letters in (lettering.low, lettering.tall, lettering.broad):
        lines = _set_in(text, width, letters, blocks=blocks)
        if lines is not None:
            sizes.append([Row(line, style) for line in lines])
    return sizes


Letters = Callable[..., list[str] | None]


def _set_in(text: str, width: int, letters: Letters, *, blocks: bool) -> list[str] | None:
    """The text in these letters, in as few lines of whole words as fit; None if a word does not fit or exist."""
    rows: list[str] = []
    line: list[str] | None = None
    taken = ""
    for word in text.split():
        longer = letters(f"{taken} {word}".strip(), blocks=blocks)
        if longer is None:
            return None
        if columns(longer[0]) > width:
            if line is None:
                return None
            rows += [*line, ""]
            longer = letters(word, blocks=blocks)
            if longer is None or columns(longer[0]) > width:
                return None
            taken = ""
        taken, line = f"{taken} {word}".strip(), longer
    return [*rows, *(line or [])]


def _caution(word: str, width: int, *, blocks: bool) -> Part:
    word = " ".join(word.split()).upper()
    if not word:
        return []
    style = _SIGNAL_STYLES.get(word, _ALARM)
    sizes = [[Row(clip(f"!!  {word}  !!", width), style)]]
    bar = "█" if blocks else "#"
    for letters in (lettering.low, lettering.tall, lettering.broad):
        rows = letters(word, blocks=blocks)
        if rows and columns(rows[0]) + 8 <= width:
            edge = bar * (columns(rows[0]) + 8)
            air = " " * columns(rows[0])
            under = [] if letters is lettering.low else [air]  # low letters end with half an empty row
            # A frame keeps the word a sign where there is no colour.
            framed = [edge, *(f"{bar * 2}  {row}  {bar * 2}" for row in [air, *rows, *under]), edge]
            sizes.append([Row(row, style) for row in framed])
    return sizes


def _countdown(countdown: tuple[str, float] | None, width: int, now: float, *, blocks: bool) -> Part:
    if countdown is None or not math.isfinite(countdown[1] - now):
        return []
    name, seconds = clean(countdown[0]), str(max(0, math.ceil(countdown[1] - now)))
    sizes = [[Row(fit(f"{name} {seconds} s", width), _STRONG)]]
    for letters in (lettering.low, lettering.tall, lettering.broad):
        rows = letters(seconds, blocks=blocks)  # a large "s" would read as a 5
        beside = rows and [*rows[:-1], f"{rows[-1]}   s  {name}"]
        if beside and max(map(columns, beside)) <= width:
            sizes.append([Row(row, _STRONG) for row in beside])
    return sizes


def _typed(typed: str, width: int, *, blocks: bool) -> Part:
    if not typed.strip():
        return []
    cursor = "▁" if blocks else "_"
    sizes = [[Row(clip(f"keyed  {typed}{cursor}", width), _STRONG)]]
    for letters in (lettering.low, lettering.tall):
        rows = letters(f"{typed}_", blocks=blocks)
        if rows and columns(rows[0]) <= width:
            sizes.append([Row(row, _STRONG) for row in rows])
    return sizes


def _lost(lost: Sequence[tuple[str, str]], width: int) -> Part:
    """All missing gear; then each piece with the reason. Gear that was left out on purpose is not missing."""
    off = " ".join(left_out_words(gear) for gear, why in lost if not why)
    quiet = [Row(line, _QUIET) for line in wrap(clean(off), width)]
    pairs = [(clean(gear), clean(why)) for gear, why in lost if why]
    if not pairs:
        return _some(quiet)
    short = wrap(" ".join(f"No {gear}." for gear, _ in pairs), width)
    long = [line for gear, why in pairs for line in wrap(f"No {gear}: {why}", width)]
    return [[*(Row(line, _STRONG) for line in rows), *quiet] for rows in (short, long)]


def left_out_words(gear: str) -> str:
    """A sentence about gear that a session was started without."""
    return _LEFT_OUT.get(gear, f"No {gear}.")


_LEFT_OUT = {"speaker": "Sound off.", "microphone": "Keys only."}


def _heard(words: str, width: int, *, blocks: bool) -> Part:
    if not words.strip():
        return []
    large = lettering.low(words, blocks=blocks)
    sizes = [[Row(fit(f"heard {words}", width), _STRONG)]]
    if large and columns(large[0]) <= width:
        sizes.append([Row("heard", _QUIET), *(Row(row) for row in large), Row("")])
    return sizes


def _choices(choices: Sequence[tuple[str, str]], width: int, *, blocks: bool) -> Part:
    """Plain text; large keys with the words beside them; large words with the keys beside them,
    without and with blank lines between; everything large.
    """
    pairs = [(clean(label(key)).strip(), clean(words).strip()) for key, words in choices]
    if not pairs:
        return []
    sizes: Part = [
        [Row(line, _STRONG) for line in _flow([f"[{key}] {words}" for key, words in pairs], width)]
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
            sizes.append([Row(row, _STRONG) for row in rows])
    named = []
    for key, words in pairs:
        large = lettering.low(words, blocks=blocks)
        mark = f"[{key}] "
        named.append(
            large and [(mark if at == 1 else " " * columns(mark)) + row for at, row in enumerate(large)]
        )
    whole = [lettering.low(f"{key} {words}", blocks=blocks) for key, words in pairs]
    for cells, dense in ((named, True), (named, False), (whole, False)):
        in_lines = _side_by_side([cell for cell in cells if cell], width, dense=dense) if all(cells) else None
        if in_lines is not None:
            sizes.append([Row(row, _STRONG) for row in in_lines])
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


def _side_by_side(cells: Sequence[list[str]], width: int, *, dense: bool = False) -> list[str] | None:
    """Cells of equal height in columns of equal width; None if the widest does not fit.

    `dense` leaves out the blank lines: low letters end with half an empty one.
    """
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
        if rows and not dense:
            rows.append("")
        for at in range(len(line[0])):
            row = "".join(cell[at] + " " * (widest + gap - columns(cell[at])) for cell in line)
            rows.append(row.rstrip())
    return rows


def _keys(keys: Sequence[tuple[str, str]], width: int) -> Part:
    items = [f"{clean(label(key))} {clean(words)}" for key, words in keys]
    return _some([Row(line, _QUIET) for line in _flow(items, width)[:2]] if items else [])


def _level(level: Level | None, width: int, *, blocks: bool) -> Part:
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
    return [[Row(clip("  ".join(["".join(bar), *words]), width), _QUIET)]]


def _share(level_db: float, length: int) -> int:
    if not math.isfinite(level_db):
        return 0
    return round(min(1.0, max(0.0, 1.0 - level_db / _LOWEST_DB)) * length)
