"""Large letters out of blocks, and text measured in the columns that it takes on a terminal."""

from __future__ import annotations

import functools
import importlib
import unicodedata
from typing import Any

from assistant.printing import in_line

_FONT = "clr6x8"
"""A plain dot font of pyfiglet, 5 by 7 dots."""

_HEIGHT = 7
_SPACE = "   "

# The font tells its Q from its O only below the line, where we cut it off.
_OWN = {"Q": (" ### ", "#   #", "#   #", "#   #", "# # #", "#  # ", " ## #")}


def clean(text: str) -> str:
    """The text with what would move the cursor escaped, all white space made spaces, and marks of no width left out."""
    kept = []
    for letter in unicodedata.normalize("NFC", text):
        if letter.isspace():
            kept.append(" ")
        elif unicodedata.category(letter) not in ("Mn", "Me"):
            kept.append(in_line(letter))
    return "".join(kept)


def columns(text: str) -> int:
    """Columns that a cleaned text takes; East Asian wide letters take two (Unicode Annex 11)."""
    return sum(2 if unicodedata.east_asian_width(letter) in "WF" else 1 for letter in text)


def clip(text: str, width: int) -> str:
    """As much of a cleaned text as fits."""
    if columns(text) <= width:
        return text
    taken = ""
    for letter in text:
        if columns(taken) + columns(letter) > width:
            break
        taken += letter
    return taken


def fit(text: str, width: int) -> str:
    """As many whole words of a cleaned text as fit; a first word that is too long is cut."""
    taken = ""
    for word in text.split():
        longer = f"{taken} {word}".strip()
        if columns(longer) > width:
            return taken or clip(word, width)
        taken = longer
    return taken


def wrap(text: str, width: int) -> list[str]:
    """A cleaned text broken between words into lines that fit; a word that is too long is broken."""
    lines: list[str] = []
    line = ""
    for given in text.split():
        word = given
        if line and columns(line) + 1 + columns(word) <= width:
            line += " " + word
            continue
        if line:
            lines.append(line)
        while columns(word) > width:
            piece = clip(word, width)
            if not piece:
                return lines  # not even one wide letter fits
            lines.append(piece)
            word = word[len(piece) :]
        line = word
    return [*lines, line] if line else lines


@functools.cache
def _figlet() -> Any:
    return importlib.import_module("pyfiglet").Figlet(font=_FONT, width=1000)


@functools.cache
def _glyph(letter: str) -> tuple[str, ...] | None:
    """Seven rows of ``#`` and spaces, as narrow as the letter is; None for a letter that the font lacks."""
    if letter == " ":
        return (_SPACE,) * _HEIGHT
    if letter in _OWN:
        return _OWN[letter]
    if not " " < letter <= "~":
        return None
    rows = (_figlet().renderText(letter).split("\n") + [""] * _HEIGHT)[:_HEIGHT]
    width = max(len(row.rstrip()) for row in rows)
    rows = [row.ljust(width)[:width] for row in rows]
    start = min((len(row) - len(row.lstrip()) for row in rows if row.strip()), default=width)
    return tuple(row[start:] for row in rows) if width > start else None


def dots(text: str) -> list[str] | None:
    """The text as seven rows of dots (``#``), letters one dot apart; None if the font lacks a letter."""
    glyphs = [_glyph(letter) for letter in text.upper()]
    if not glyphs or None in glyphs:
        return None
    return [" ".join(glyph[row] for glyph in glyphs if glyph) for row in range(_HEIGHT)]


def tall(text: str, *, blocks: bool) -> list[str] | None:
    """Seven rows, one column a dot."""
    rows = dots(text)
    return rows and [row.replace("#", "█") if blocks else row for row in rows]


def broad(text: str, *, blocks: bool) -> list[str] | None:
    """Seven rows, two columns a dot: the largest."""
    rows = tall(text, blocks=blocks)
    return rows and ["".join(dot * 2 for dot in row) for row in rows]


def low(text: str, *, blocks: bool) -> list[str] | None:
    """Four rows out of half blocks, one column a dot; None without block characters."""
    rows = dots(text) if blocks else None
    if rows is None:
        return None
    pairs = zip(rows[0::2], [*rows[1::2], " " * len(rows[0])], strict=True)
    both = {("#", "#"): "█", ("#", " "): "▀", (" ", "#"): "▄", (" ", " "): " "}
    return ["".join(both[dot] for dot in zip(upper, lower, strict=True)) for upper, lower in pairs]
