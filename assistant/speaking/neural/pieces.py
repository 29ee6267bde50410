"""A sentence taken apart for the voice: words, the pauses between them, and numbers, units and signs as words."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from assistant.core.values.units import UNIT_WORDS
from assistant.grammar.numbers import in_words
from assistant.speaking.neural.inflecting import NONE

PAUSES = frozenset(";:,.!?—…")
"""Marks that the voice hears as a pause, and a vowel behind them as the beginning of something new."""

_MARKS = {"(": "(", ")": ")", "“": "“", "”": "”", **{mark: mark for mark in PAUSES}}
_OPENING = re.compile(r"^[\"“(\[{'‘«]+")
_CLOSING = re.compile(r"[\"”)\]}'’».,;:!?…—]+$")
_APOSTROPHES = str.maketrans({"’": "'", "‘": "'", "ʼ": "'", "−": "-", "‑": "-", "‐": "-", "–": "-"})

_NUMBER = re.compile(r"([-+]?)(\d{1,3}(?:,\d{3})+|\d+)(?:\.(\d+))?")
_POINT_FIRST = re.compile(r"([-+]?)()\.(\d+)")
_ORDINAL = re.compile(r"(\d+)(st|nd|rd|th)")
_SIGNS = re.compile(r"(?=.*\d)(?=.*[A-Za-z])[A-Za-z0-9]+")
_LARGEST = 999_999
"""Longer numbers are read digit by digit: nobody compares "twelve million and ..." with a screen."""

_UNITS = {
    **UNIT_WORDS,
    "kV": ("kilovolt", "kilovolts"),
    "mA": ("milliamp", "milliamps"),
    "W": ("watt", "watts"),
    "Ω": ("ohm", "ohms"),
    "kΩ": ("kilohm", "kilohms"),
    "MΩ": ("megohm", "megohms"),
    "Hz": ("hertz", "hertz"),
    "kHz": ("kilohertz", "kilohertz"),
    "min": ("minute", "minutes"),
    "h": ("hour", "hours"),
    "mm": ("millimeter", "millimeters"),
    "cm": ("centimeter", "centimeters"),
    "m": ("meter", "meters"),
    "psi": ("P S I", "P S I"),
    "%": ("percent", "percent"),
    "°": ("degree", "degrees"),
    "°C": ("degree celsius", "degrees celsius"),
    "°F": ("degree fahrenheit", "degrees fahrenheit"),
}
"""Units as they are read behind a number: those of readings, and some that an edited procedure may write."""

_SYMBOLS = {"%": "percent", "&": "and", "+": "plus", "=": "equals", "@": "at", "°": "degrees"}
_ORDINALS = {
    "one": "first",
    "two": "second",
    "three": "third",
    "five": "fifth",
    "eight": "eighth",
    "nine": "ninth",
    "twelve": "twelfth",
}


@dataclass(frozen=True)
class SpokenPiece:
    """A piece of a sentence between spaces.

    Attributes:
        parts: The words, more than one if hyphens join them; none for a lone mark.
        before: Marks in front that the voice knows ("(").
        after: Marks behind that the voice knows (",", "?").
        stress: How much stress the words are given, if not their own (`inflecting`).
        text: The piece as it is written, to name it where it cannot be pronounced.
    """

    parts: tuple[str, ...]
    before: str = ""
    after: str = ""
    stress: float | None = None
    text: str = ""


def pieces(sentence: str) -> list[SpokenPiece]:
    """The pieces of a sentence in order; a number or a sign becomes a piece for each word of it."""
    found: list[SpokenPiece] = []
    for written in sentence.split():
        text = written.translate(_APOSTROPHES)
        opening = _OPENING.search(text)
        before = opening.group() if opening else ""
        text = text[len(before) :]
        closing = _CLOSING.search(text)
        after = closing.group() if closing else ""
        text = text[: len(text) - len(after)]
        found += _of_piece(text, _front(before), _behind(after), written)
    return found


def _front(marks: str) -> str:
    return "".join("“" if mark in '"“«' else _MARKS.get(mark, "") for mark in marks)


def _behind(marks: str) -> str:
    marks = re.sub(r"\.{2,}", "…", marks)
    return "".join("”" if mark in '"”»' else _MARKS.get(mark, "") for mark in marks)


def _of_piece(text: str, before: str, after: str, written: str) -> list[SpokenPiece]:
    words: list[tuple[tuple[str, ...], float | None]]
    if text and not text.strip("-—"):
        return [SpokenPiece((), before, f"—{after}", text=written)]
    spoken = _expanded(text)
    if spoken is None:
        parts = tuple(part for part in re.split(r"[-/—_]+", text) if part)
        if any(_expanded(part) is not None for part in parts):  # "12-volt" is read "twelve volt"
            spoken = " ".join(_expanded(part) or part for part in parts)
    if spoken is None:
        words = [(parts, None)] if parts else []
    else:
        words = [((word,), NONE if word == "point" else None) for word in spoken.split()]
    if not words:
        return [SpokenPiece((), before, after, text=written)] if before or after else []
    last = len(words) - 1
    return [
        SpokenPiece(parts, before if i == 0 else "", after if i == last else "", stress, written)
        for i, (parts, stress) in enumerate(words)
    ]


def _expanded(text: str) -> str | None:
    """The words of a number, of a number with its unit, or of a sign; None for a word."""
    if text in _SYMBOLS:
        return _SYMBOLS[text]
    if not any(letter.isascii() and letter.isdigit() for letter in text):
        return None
    ordinal = _ORDINAL.fullmatch(text)
    if ordinal and len(ordinal[1]) < 5:
        return _ordinal(ordinal[1])
    number = _NUMBER.match(text) or _POINT_FIRST.match(text)
    if number:
        unit = text[number.end() :]
        words = number_in_words(number[2] or "", number[3] or "", number[1])
        if not unit:
            return words
        if unit in _UNITS:
            return f"{words} {_UNITS[unit][number.group() != '1']}"
    if _SIGNS.fullmatch(text):  # a code such as P0351: sign by sign
        return " ".join(number_in_words(sign) if sign.isdigit() else sign.upper() for sign in text)
    return None


def number_in_words(whole: str, decimals: str = "", sign: str = "") -> str:
    """A number as a technician reads it aloud: "zero point one two", "two thousand five".

    Args:
        whole: Digits before the point, with or without commas.
        decimals: Digits behind it; each is read, zeros too, because they tell how exact the reading is.
        sign: "-" or "+".
    """
    digits = whole.replace(",", "")
    if (len(digits) > 1 and digits.startswith("0")) or int(digits or "0") > _LARGEST:
        words = [in_words(Decimal(digit)) for digit in digits]
    else:
        thousands, rest = divmod(int(digits or "0"), 1000)
        words = [f"{_small(thousands)} thousand"] if thousands else []
        words += [_small(rest)] if rest or not thousands else []
    if decimals:
        words += ["point", *(in_words(Decimal(digit)) for digit in decimals)]
    return " ".join([*({"-": ["minus"], "+": ["plus"]}.get(sign, [])), *words])


def _small(number: int) -> str:
    """Without "and", as misaki reads numbers: one word less to lose in noise."""
    return in_words(Decimal(number)).replace(" and ", " ")


def _ordinal(digits: str) -> str:
    *others, last = number_in_words(digits).split()
    ending = _ORDINALS.get(last) or (f"{last[:-1]}ieth" if last.endswith("y") else f"{last}th")
    return " ".join([*others, ending])
