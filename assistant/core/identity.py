"""Which vehicle: the vehicle identification number and its check digit.

Source: 49 CFR 565.15(c), read from the regulation: values of the letters, weights of the positions,
remainder by 11 with X for ten, check digit in the ninth position.
"""

from __future__ import annotations

from dataclasses import dataclass

from assistant.errors import UsageProblem

_LENGTH = 17
_CHECK_POSITION = 9
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
_VALUES = {str(digit): digit for digit in range(10)} | dict(
    zip("ABCDEFGHJKLMNPRSTUVWXYZ", (*range(1, 9), *range(1, 6), 7, 9, *range(2, 10)), strict=True)
)
VIN_LENGTH, VIN_SIGNS = _LENGTH, frozenset(_VALUES)
"""How many signs a VIN has, and every sign that it may have."""

_LOOK_ALIKE = {"I": "1", "O": "0", "Q": "0"}


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
            or a check digit that does not fit, with the one that would.
    """
    # Only plain letters are made capital: str.upper would turn some foreign letters into allowed ones.
    vin = "".join(sign.upper() if sign.isascii() else sign for sign in text if sign not in "- \t\r\n")
    for position, sign in enumerate(vin, start=1):
        if sign in _LOOK_ALIKE:
            raise UsageProblem(
                f"The VIN {vin} has the letter {sign} in position {position}. "
                f"A VIN never has I, O or Q; it may be the digit {_LOOK_ALIKE[sign]}."
            )
        if sign not in _VALUES:
            raise UsageProblem(
                f"The VIN {vin} has the sign {sign!r} in position {position}. "
                "A VIN has only digits and the letters A to Z without I, O and Q."
            )
    if len(vin) != _LENGTH:
        raise UsageProblem(
            f"A VIN has {_LENGTH} characters, but {vin or 'this one'} has {len(vin)}. "
            "Read it from the plate again."
        )
    found, right = vin[_CHECK_POSITION - 1], check_digit(vin)
    if found != right:
        raise UsageProblem(
            f"The VIN {vin} has the check digit {found} (its 9th character), but its other characters give "
            f"{right}. At least one character was misread; read it from the plate again."
        )
    return Vin(vin)


def check_digit(vin: str) -> str:
    """The ninth character that the other sixteen give: ``0``…``9`` or ``X``."""
    total = sum(weight * _VALUES[sign] for weight, sign in zip(_WEIGHTS, vin, strict=True) if weight)
    remainder = total % 11
    return "X" if remainder == 10 else str(remainder)
