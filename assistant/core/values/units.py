"""Units of readings: conversion, and how a number with its unit is spoken and written."""

from __future__ import annotations

from decimal import Decimal

UNIT_WORDS = {
    "V": ("volt", "volts"),
    "mV": ("millivolt", "millivolts"),
    "A": ("amp", "amps"),
    "ohm": ("ohm", "ohms"),
    "kilohm": ("kilohm", "kilohms"),
    "megohm": ("megohm", "megohms"),
    "rpm": ("revolution a minute", "revolutions a minute"),
    "s": ("second", "seconds"),
    "ms": ("millisecond", "milliseconds"),
    "km": ("kilometer", "kilometers"),
    "miles": ("mile", "miles"),
    "celsius": ("degree celsius", "degrees celsius"),
    "fahrenheit": ("degree fahrenheit", "degrees fahrenheit"),
}
"""Spoken form of each unit, for one and for more."""

# Into the base unit of the same quantity; SI prefixes, the international mile.
_SCALE = {
    "V": ("V", Decimal(1)),
    "mV": ("V", Decimal("0.001")),
    "A": ("A", Decimal(1)),
    "ohm": ("ohm", Decimal(1)),
    "kilohm": ("ohm", Decimal(1000)),
    "megohm": ("ohm", Decimal(1000000)),
    "rpm": ("rpm", Decimal(1)),
    "s": ("s", Decimal(1)),
    "ms": ("s", Decimal("0.001")),
    "km": ("km", Decimal(1)),
    "miles": ("km", Decimal("1.609344")),
    "celsius": ("celsius", Decimal(1)),
    "fahrenheit": ("celsius", Decimal(5) / Decimal(9)),
}
_ZERO = {"fahrenheit": Decimal(32)}
"""The number on a unit's scale at the zero of its base unit."""


def convert(value: Decimal, unit: str, to: str) -> Decimal | None:
    """The same quantity in another unit; None if the units are of different quantities.

    Scaling is exact: millivolts 0.001 V, kilohms 1,000 ohm, megohms 1,000,000 ohm (SI prefixes), the international
    mile 1.609344 km; but degrees Fahrenheit in Celsius are rounded to a hundredth.
    """
    base, factor = _SCALE[unit]
    other_base, other_factor = _SCALE[to]
    if base != other_base:
        return None
    if unit == to:
        return value
    scaled = (value - _ZERO.get(unit, 0)) * factor / other_factor + _ZERO.get(to, 0)
    return scaled.quantize(Decimal("0.01")) if base == "celsius" else scaled


def units_like(unit: str) -> tuple[str, ...]:
    """All units of the same quantity, the given one first."""
    return (unit, *(other for other in _SCALE if other != unit and _SCALE[other][0] == _SCALE[unit][0]))


def plain_number(value: Decimal) -> str:
    """Digits as a person writes them: no exponent, no digit added or lost."""
    return format(value, "f")


def number_words(value: Decimal, unit: str) -> str:
    """A reading to be spoken: "12.4 volts"; the voice reads the digits."""
    one, more = UNIT_WORDS[unit]
    return f"{plain_number(value)} {one if value == 1 else more}"


def _in_a_larger_unit(value: Decimal, unit: str) -> tuple[Decimal, str]:
    """The same with fewer digits where a unit gives it in at most three decimals; else as it was."""
    for larger in sorted(units_like(unit), key=lambda name: _SCALE[name][1], reverse=True):
        scaled = value * _SCALE[unit][1] / _SCALE[larger][1]
        if abs(scaled) >= 1 and scaled == round(scaled, 3):
            return Decimal(plain_number(scaled.normalize())), larger
    return value, unit


def span_words(low: Decimal, high: Decimal, unit: str) -> str:
    """The limits of what is believable, to be spoken: "0 to 18 volts", "0 to 20 megohms"."""
    if high < _MANY_DIGITS:
        return f"{plain_number(low)} to {number_words(high, unit)}"
    first = "0" if low == 0 else number_words(*_in_a_larger_unit(low, unit))
    return f"{first} to {number_words(*_in_a_larger_unit(high, unit))}"


_MANY_DIGITS = 10000
"""From here on a limit is spoken in a larger unit: five digits are not held in the head."""


def number_written(value: Decimal, unit: str) -> str:
    """A reading to be written: "12.4 V"."""
    return f"{plain_number(value)} {unit}"
