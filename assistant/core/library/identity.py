"""Identity of a vehicle: the vehicle identification number with its check digit, and the odometer.

Source: 49 CFR 565.15(c), read from the regulation: values of the letters, weights of the positions,
remainder by 11 with X for ten, check digit in the ninth position.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from assistant.core.values.units import convert
from assistant.errors import UsageProblem

VIN_LENGTH = 17
_CHECK_POSITION = 9
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
_VALUES = {str(digit): digit for digit in range(10)} | dict(
    zip("ABCDEFGHJKLMNPRSTUVWXYZ", (*range(1, 9), *range(1, 6), 7, 9, *range(2, 10)), strict=True)
)
VIN_SIGNS = frozenset(_VALUES)
"""Every sign that a VIN may have."""

LOOK_ALIKE = {"I": "1", "O": "0", "Q": "0"}
"""Letters that no VIN has, and the digit that each may be."""

ALIKE = ("5S", "8B", "0D", "2Z", "1L", "17", "MN", "6G", "UV", "VY", "38", "59", "3E", "4A")
"""Pairs of signs that look alike on a plate, or sound alike when they are read out (from memory; chosen)."""

_CHECK_DIGITS = "0123456789X"
_NO_YEAR = "UZ0"
"""Signs that stand for no model year, besides I, O and Q (49 CFR 565.15(d), table VII)."""

MOST_NAMED = 3
"""Most possible slips that are named; more would not help."""

_ODOMETER = re.compile(r"(?P<number>\d+|\d{1,3}(?:[, '\u00a0\u2009\u202f]\d{3})+)\s*(?P<unit>[a-z]*)\.?")
_ODOMETER_UNITS = {
    **dict.fromkeys(("", "km", "kilometer", "kilometers", "kilometre", "kilometres"), "km"),
    **dict.fromkeys(("mi", "mile", "miles"), "miles"),
}

LONGEST_ODOMETER_KM = 2_000_000
"""No vehicle that comes into a shop has gone farther (chosen, from memory)."""


@dataclass(frozen=True)
class Vin:
    """A vehicle identification number whose check digit is right, in capitals, without spaces or hyphens."""

    text: str

    def __str__(self) -> str:
        return self.text


def check_vin(text: str) -> Vin:
    """The vehicle identification number that was typed.

    Small letters, spaces and hyphens are taken as a person types them.

    Raises:
        UsageProblem: Not 17 characters; a letter I, O or Q or another sign that no VIN has;
            or a check digit that does not fit, with the one that would, and the character that may be the wrong one.
    """
    # Only plain letters are made capital: str.upper would turn some foreign letters into allowed ones.
    vin = "".join(sign.upper() if sign.isascii() else sign for sign in text if sign not in "- \t\r\n")
    for position, sign in enumerate(vin, start=1):
        if sign in LOOK_ALIKE:
            raise UsageProblem(
                f"The VIN {vin} has the letter {sign} in position {position}. "
                f"A VIN never has I, O or Q; it may be the digit {LOOK_ALIKE[sign]}."
            )
        if sign not in _VALUES:
            raise UsageProblem(
                f"The VIN {vin} has the sign {sign!r} in position {position}. "
                "A VIN has only digits and the letters A to Z without I, O and Q."
            )
    if len(vin) != VIN_LENGTH:
        raise UsageProblem(
            f"A VIN has {VIN_LENGTH} characters, but {vin or 'this one'} has {len(vin)}. "
            "Read it from the plate again."
        )
    found, right = vin[_CHECK_POSITION - 1], check_digit(vin)
    if found != right:
        raise UsageProblem(
            f"The VIN {vin} has the check digit {found} (its 9th character), but its other characters give "
            f"{right}. At least one character was misread. {where_to_look(vin)}"
        )
    return Vin(vin)


def check_digit(vin: str) -> str:
    """The ninth character that the other sixteen give: ``0``…``9`` or ``X``."""
    total = sum(weight * _VALUES[sign] for weight, sign in zip(_WEIGHTS, vin, strict=True) if weight)
    remainder = total % 11
    return "X" if remainder == 10 else str(remainder)


@dataclass(frozen=True)
class Repair:
    """A slip that would explain a check digit that does not fit.

    Attributes:
        vin: The number without the slip; its check digit fits.
        position: Place of the (first) character, counted from 1.
        read: The character as it was read; two of them when neighbours are exchanged.
        meant: The character that it may be.
    """

    vin: str
    position: int
    read: str
    meant: str

    def __str__(self) -> str:
        if len(self.read) == 2:
            return f"positions {self.position} and {self.position + 1} may be exchanged, {self.meant} for {self.read}"
        return f"position {self.position} may be {self.meant}, not {self.read}"


def repairs(vin: str) -> tuple[Repair, ...]:
    """Every single slip that would explain why the check digit of a number does not fit, in order of place.

    A slip is a sign taken for one that looks or sounds alike (`ALIKE`), or two neighbours that are exchanged.
    A number that cannot be a VIN explains nothing: the check digit is 0 to 9 or X, the tenth character a model year,
    and the last four are digits (49 CFR 565.15, from memory).
    A ninth character that cannot be a check digit counts as such a slip, too.

    Args:
        vin: Seventeen signs that a VIN can have.
    """
    found = []
    if vin[8] not in _CHECK_DIGITS:
        right = check_digit(vin)
        found.append(Repair(vin[:8] + right + vin[9:], _CHECK_POSITION, vin[8], right))
    for place, sign in enumerate(vin):
        for pair in ALIKE:
            if sign in pair:
                other = pair.replace(sign, "")
                found.append(Repair(vin[:place] + other + vin[place + 1 :], place + 1, sign, other))
        following = vin[place + 1 : place + 2]
        if following and following != sign:
            swapped = following + sign
            found.append(
                Repair(vin[:place] + swapped + vin[place + 2 :], place + 1, sign + following, swapped)
            )
    return tuple(dict.fromkeys(repair for repair in found if _possible(repair.vin)))


def _possible(vin: str) -> bool:
    return vin[8] == check_digit(vin) and vin[9] not in _NO_YEAR and vin[13:].isdigit()


def where_to_look(vin: str) -> str:
    """Which character of a number whose check digit does not fit may be the odd one out, a sentence or two."""
    found = repairs(vin)
    if not found:
        right = check_digit(vin)
        return (
            f"No single slip of look or sound explains it, unless the check digit itself, {vin[8]}, is {right}. "
            "Read it from the plate again."
        )
    if len(found) == 1:
        return f"{_capital(str(found[0]))}. Look at the plate there."
    if len(found) <= MOST_NAMED:
        return f"One of these may be: {'; '.join(map(str, found))}. Look at the plate there."
    places = sorted({repair.position for repair in found})
    return f"Look at the plate again, first at the positions {', '.join(map(str, places))}."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


@dataclass(frozen=True)
class Odometer:
    """An odometer reading: a whole number, and ``km`` or ``miles``."""

    number: int
    unit: str

    def __str__(self) -> str:
        return f"{self.number} {self.unit}"


def check_odometer(text: str) -> Odometer:
    """The odometer reading that was typed, such as "98200", "98,200 miles", or "158 000 km".

    A number without a unit is in kilometers.

    Raises:
        UsageProblem: It is not a whole number, has another unit, or is more than a vehicle can have gone.
    """
    matched = _ODOMETER.fullmatch(text.strip().lower())
    digits = "".join(sign for sign in matched["number"] if sign.isdigit()) if matched else ""
    if matched is None or not digits.isascii():
        raise UsageProblem(
            f"The odometer '{text}' is not a whole number. Write it as 98200 miles or 158000 km, without tenths."
        )
    unit = _ODOMETER_UNITS.get(matched["unit"])
    if unit is None:
        raise UsageProblem(f"The odometer '{text}' has the unit '{matched['unit']}'. Write km or miles.")
    kilometers = convert(Decimal(digits), unit, "km")
    if kilometers is None or kilometers > LONGEST_ODOMETER_KM:
        raise UsageProblem(
            f"The odometer cannot be {digits} {unit}: more than {LONGEST_ODOMETER_KM} km is not plausible. "
            "Read it again, and leave out the tenths."
        )
    return Odometer(int(digits), unit)
