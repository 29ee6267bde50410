"""The words of facts: spelled signs, the letters on a number pad, numbers and choices.

Spelling alphabet: ICAO Annex 10, Volume II, 5.2.1.3, and Doc 9432, 2.3; of its digits "niner" is spoken, which is not
taken for "five".  Letters on keys: ITU-T Recommendation E.161, the assignment of the Latin alphabet to ten keys.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.core.library.identity import VIN_LENGTH
from assistant.core.library.terms import FactKind, Inquiry
from assistant.core.values.units import (
    UNIT_WORDS,
    convert,
    number_words,
    plain_number,
    span_words,
    units_like,
)
from assistant.core.words import instructing, placing

if TYPE_CHECKING:
    from collections.abc import Mapping

WORDS = {
    **dict(
        zip(
            "0123456789",
            ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "niner"),
            strict=True,
        )
    ),
    **dict(
        zip(
            "ABCDEFGHIJKLMNOPQRSTUVWXYZ",
            (
                *(
                    "alfa",
                    "bravo",
                    "charlie",
                    "delta",
                    "echo",
                    "foxtrot",
                    "golf",
                    "hotel",
                    "india",
                    "juliett",
                ),
                *("kilo", "lima", "mike", "november", "oscar", "papa", "quebec", "romeo", "sierra", "tango"),
                *("uniform", "victor", "whiskey", "x-ray", "yankee", "zulu"),
            ),
            strict=True,
        )
    ),
}
"""The word for each sign that can be spelled."""

KEYS = {"2": "ABC", "3": "DEF", "4": "GHI", "5": "JKL", "6": "MNO", "7": "PQRS", "8": "TUV", "9": "WXYZ"}
"""Letters on the keys of a number pad, in order (ITU-T E.161)."""

OTHER_UNITS = {
    "km": ("km", "miles"),
    "miles": ("miles", "km"),
    "celsius": ("celsius", "fahrenheit"),
}
"""Units that a number may have besides its own."""


LONGEST_AS_A_NUMBER = 9999
"""Larger numbers are spoken digit by digit, so that they can be compared with the written ones."""

IN_ONE_BREATH = 6
"""Largest number of signs to spell in one go; people forget longer groups, and they are hard to hear."""


def spelled(signs: str) -> str:
    """Signs in spoken form with a comma after each: "one, hotel, golf"; many signs come four at a time, with a
    stop.
    """
    if len(signs) <= IN_ONE_BREATH:
        return ", ".join(WORDS.get(sign.upper(), sign) for sign in signs)
    return ". ".join(spelled(signs[start : start + 4]) for start in range(0, len(signs), 4))


def spoken_repair(position: int, read: str, meant: str) -> str:
    """The spoken form of a slip in a VIN: "position 10, five for sierra"; "positions 10 and 11 exchanged"."""
    if len(read) == 2:
        return f"positions {position} and {position + 1} exchanged"
    return f"position {position}, {spelled(meant)} for {spelled(read)}"


def keys_of(sign: str) -> str:
    """The keys for a sign: a digit is its own key; a letter is a point, its key, and its place there (".21" is A)."""
    if sign.isdigit():
        return sign
    key = next(key for key, letters in KEYS.items() if sign in letters)
    return f".{key}{KEYS[key].index(sign) + 1}"


def letter_of(code: str) -> str | None:
    """The letter of a complete code such as ".21"; "" for an incomplete code, None if it is not a code."""
    if code in (".", *(f".{key}" for key in KEYS)):
        return ""
    letters = KEYS.get(code[1:2], "")
    place = int(code[2]) if len(code) == 3 and code[2].isdigit() else 0
    return letters[place - 1] if code.startswith(".") and 1 <= place <= len(letters) else None


def longest(inquiry: Inquiry) -> int:
    """Largest number of signs in a spelled fact."""
    return VIN_LENGTH if inquiry.kind is FactKind.VIN else inquiry.longest


def units_of(inquiry: Inquiry) -> tuple[str, ...]:
    """Units that a number may have, its own first; empty for one without a unit."""
    if not inquiry.unit:
        return ()
    return OTHER_UNITS.get(inquiry.unit) or tuple(units_like(inquiry.unit))


def problem_with(inquiry: Inquiry, value: Decimal, unit: str) -> str:
    """A sentence that says why a number is not believable; "" if it is."""
    assert inquiry.plausible is not None  # noqa: S101  the loader sees to it
    if inquiry.whole and value != value.to_integral_value():
        return f"{inquiry.label}: whole numbers only."
    low, high = inquiry.plausible
    base = convert(value, unit, inquiry.unit) if inquiry.unit else value
    if base is not None and low <= base <= high:
        return ""
    if max(value, high) > LONGEST_AS_A_NUMBER:
        return f"{inquiry.label}: that can't be right."
    limits = f"{plain_number(low)} to {plain_number(high)}"
    if inquiry.unit:
        limits = span_words(low, high, inquiry.unit)
    return f"{plain_number(value)} is outside {limits}."


def spoken_value(inquiry: Inquiry, value: str, unit: str) -> str:
    """The spoken form of a value: "0.27 amps", "filament lamp", "one, hotel, golf"."""
    if not value:
        return "left blank"
    if inquiry.kind is FactKind.CHOICE:
        return inquiry.choices.get(value, value)
    if inquiry.kind is FactKind.NUMBER and Decimal(value) <= LONGEST_AS_A_NUMBER:
        return number_words(Decimal(value), unit) if unit else value
    more = UNIT_WORDS[unit][1] if unit else ""
    return ", ".join(filter(None, (spelled(value), more)))


def written_value(inquiry: Inquiry, value: str, unit: str) -> str:
    """The written form of a value: "0.27 A", "filament lamp", "1HG"; "left blank" for a blank."""
    if not value:
        return "left blank"
    if inquiry.kind is FactKind.CHOICE:
        return inquiry.choices.get(value, value)
    return f"{value} {unit}".strip()


def numbers(facts: Mapping[str, Inquiry], given: Mapping[str, tuple[str, str]]) -> dict[str, Decimal]:
    """The facts that are numbers, each in its own unit, without blanks.

    Args:
        facts: The facts of the terms.
        given: Value and unit by name of fact.
    """
    found = {}
    for name, (value, unit) in given.items():
        inquiry = facts.get(name)
        if inquiry is None or inquiry.kind is not FactKind.NUMBER or not value:
            continue
        number = Decimal(value)
        if inquiry.unit and unit:
            number = convert(number, unit, inquiry.unit) or number
        found[name] = number
    return found


def question_keys(inquiry: Inquiry) -> str:
    """How to key a fact, in a sentence or two."""
    if inquiry.kind is FactKind.CHOICE:
        return f"{instructing.numbered(inquiry.choices.values())} Plus leaves it blank."
    if inquiry.kind is FactKind.NUMBER:
        return "Key the number, then Enter. Plus leaves it blank."
    return "Key it in, then Enter."


def listed_choices(inquiry: Inquiry) -> str:
    """The choices as a question: "Filament lamp or LED light?"."""
    text = placing.listed(list(inquiry.choices.values()), "or")
    return f"{text[:1].upper()}{text[1:]}?"


def sayable(inquiry: Inquiry) -> str:
    """How to say a fact, in a sentence or two."""
    if inquiry.kind is FactKind.CHOICE:
        return f"{listed_choices(inquiry)} Or leave blank."
    if inquiry.kind is FactKind.NUMBER:
        return "Say the number, or leave blank."
    if inquiry.kind is FactKind.VIN:
        return "Spell it, a few letters at a time. Or leave blank."
    return "Spell it, a few letters at a time. Then: that is all. Or leave blank."
