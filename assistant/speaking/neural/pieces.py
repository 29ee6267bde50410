"""A sentence taken apart for the voice: words, the pauses between them, and numbers, units and signs as words."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, replace
from decimal import Decimal

from assistant.core.values.units import UNIT_WORDS
from assistant.grammar.numbers import in_words
from assistant.speaking.neural.inflecting import NONE

PAUSES = frozenset(";:,.!?—…")
"""Marks that the voice hears as a pause, and a vowel behind them as the beginning of something new."""

_MARKS = {"(": "(", ")": ")", "“": "“", "”": "”", **{mark: mark for mark in PAUSES}}
_OPENING = re.compile(r"^(?:[\"“(\[{'‘«*`…]|\.{2,})+")
_CLOSING = re.compile(r"[\"”)\]}'’»*`.,;:!?…—]+$")
_APOSTROPHES = str.maketrans({"’": "'", "‘": "'", "ʼ": "'", "−": "-", "‑": "-", "‐": "-", "–": "-"})

_NUMBER = re.compile(r"([-+]?)(\d{1,3}(?:,\d{3})+(?!\d)|\d+|(?=\.\d))(?:\.(\d+))?", re.ASCII)
_WHOLE_NUMBER = re.compile(r"[-+]?[\d,]*\.?\d+", re.ASCII)
_ORDINAL = re.compile(r"(\d{1,4})(?:st|nd|rd|th)", re.ASCII)
_CODE = re.compile(r"(?=.*\d)(?=.*[A-Za-z])[A-Za-z0-9]+", re.ASCII)
_BETWEEN_DIGITS = {
    re.compile(rf"(?<=\d){mark}(?=\d)", re.ASCII): spoken
    for mark, spoken in ((":", " "), ("/", " over "), ("-", " to "))
} | {re.compile(r"#(?=\d)", re.ASCII): "number "}
"""A time of day, a fraction and a range; side by side, their numbers would sound as one."""

_NO_SOUND = frozenset({"So", "Sk", "Cf", "Cn", "Co", "Me"})
"""Unicode's categories of pictures, of what joins or colours them, and of invisible signs."""

_JOINING = frozenset("\N{ZERO WIDTH JOINER}\N{SOFT HYPHEN}\N{VARIATION SELECTOR-15}\N{VARIATION SELECTOR-16}")

_LETTER = re.compile("[A-Z]")
_LONGEST = 6
"""Digits of the longest number that is read as one: nobody compares "twelve million and ..." with a screen."""

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

_ALONE = {
    unit: _UNITS[unit][1]
    for unit in ("mV", "kV", "mA", "Ω", "kΩ", "MΩ", "ms", "Hz", "kHz", "mm", "cm", "rpm", "°C", "°F")
}
"""Units that are no words and so are read in full without a number, too: "in ms"."""

_SYMBOLS = {"%": "percent", "&": "and", "+": "plus", "=": "equals", "@": "at", "°": "degrees", "№": "number"}
_MEANING = frozenset({*_SYMBOLS, *"".join(_UNITS)})
"""Signs that are said, whatever their category ("°" is a picture to Unicode)."""
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
        sign: Whether it is a letter of a code ("A12"), which is never the article.
    """

    parts: tuple[str, ...]
    before: str = ""
    after: str = ""
    stress: float | None = None
    sign: bool = False


def pieces(sentence: str) -> list[SpokenPiece]:
    """The pieces of a sentence in order; a number or a code becomes a piece for each word or sign of it."""
    found: list[SpokenPiece] = []
    plain = _audible(sentence.translate(_APOSTROPHES))
    for mark, spoken in _BETWEEN_DIGITS.items():
        plain = mark.sub(spoken, plain)
    written = plain.split()
    number = ""
    for place, whole in enumerate(written):
        opening = _OPENING.search(whole)
        before = opening.group() if opening else ""
        closing = _CLOSING.search(whole[len(before) :])
        after = closing.group() if closing else ""
        text = whole[len(before) : len(whole) - len(after)]
        if number and text in _UNITS and not _LETTER.fullmatch("".join(written[place + 1 : place + 2])):
            text = _UNITS[text][number != "1"].replace(" ", "_")
        found += _of_piece(text, _front(before), _behind(after))
        number = text if not after and _WHOLE_NUMBER.fullmatch(text) else ""
    return found


def _audible(sentence: str) -> str:
    """The sentence without pictures and invisible signs: one "👍" shall not give it to another voice."""
    if sentence.isascii():
        return sentence
    return "".join(
        ""
        if sign in _JOINING
        else " "
        if unicodedata.category(sign) in _NO_SOUND and sign not in _MEANING
        else sign
        for sign in sentence
    )


def _front(marks: str) -> str:
    return "".join("“" if mark in '"“«' else _MARKS.get(mark, "") for mark in marks)


def _behind(marks: str) -> str:
    marks = re.sub(r"\.{2,}", "…", marks)
    return "".join("”" if mark in '"”»' else _MARKS.get(mark, "") for mark in marks)


def _of_piece(text: str, before: str, after: str) -> list[SpokenPiece]:
    if text and not text.strip("-—"):
        return [SpokenPiece((), before, f"—{after}")]
    words = [word for part in _codes_apart(text) for word in _of_part(part)]
    if not words:
        return [SpokenPiece((), before, after)] if before or after else []
    words[0] = replace(words[0], before=before)
    words[-1] = replace(words[-1], after=after)
    return words


def _codes_apart(text: str) -> list[str]:
    """The parts of codes that a stroke or a hyphen joins ("P0301/P0302"); anything else stays whole."""
    parts = [part for part in re.split(r"[-/]", text) if part]
    return parts if any(map(_is_code, parts)) else [text]


def _is_code(text: str) -> bool:
    return bool(_CODE.fullmatch(text)) and not _expanded(text)


def _of_part(text: str) -> list[SpokenPiece]:
    if _is_code(text):
        return [SpokenPiece((_sign(sign),), sign=True) for sign in text]
    return _words(text)


def _words(text: str) -> list[SpokenPiece]:
    """One piece for a word, with hyphens or not; several for what is written in digits or joined by an underscore."""
    found: list[SpokenPiece] = []
    for chunk in text.split("_"):
        parts = [part for part in re.split(r"[-/—]+", chunk) if part]
        spoken = _expanded(chunk)
        if spoken is None and any(_expanded(part) for part in parts):  # "12-volt" is read "twelve volt"
            spoken = " ".join(_expanded(part) or part for part in parts)
        if spoken is not None:
            found += [
                SpokenPiece((word,), stress=NONE if word == "point" else None) for word in spoken.split()
            ]
        elif parts:
            found.append(SpokenPiece(tuple(parts)))
    return found


def _sign(sign: str) -> str:
    return number_in_words(sign) if sign.isdigit() else sign.upper()


def _expanded(text: str) -> str | None:
    """The words of a number, of a number with its unit, or of a symbol; None for anything else."""
    if text in _SYMBOLS:
        return _SYMBOLS[text]
    if text in _ALONE:
        return _ALONE[text]
    ordinal = _ORDINAL.fullmatch(text)
    if ordinal:
        return _ordinal(ordinal[1])
    number = _NUMBER.match(text)
    if number is None:
        return None
    unit = text[number.end() :]
    if unit and unit not in _UNITS:
        return None
    words = number_in_words(number[2], number[3] or "", number[1])
    return f"{words} {_UNITS[unit][number.group() != '1']}" if unit else words


def number_in_words(whole: str, decimals: str = "", sign: str = "") -> str:
    """A number as a technician reads it aloud: "zero point one two", "two thousand five".

    Args:
        whole: Digits before the point, with or without commas.
        decimals: Digits behind it; each is read, zeros too, because they tell how exact the reading is.
        sign: "-" or "+".
    """
    digits = whole.replace(",", "")
    if (len(digits) > 1 and digits.startswith("0")) or len(digits) > _LONGEST:
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
