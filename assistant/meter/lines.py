"""Lines of ``sigrok-cli -O analog`` as samples; pure, and any bytes give a sample or nothing.

Seen of sigrok-cli 0.7.2 with libsigrok 0.5.2: a line is the channel, the number with the digits of the display and an
SI prefix, the unit, and flags: ``P1: -12.34 V DC AUTO``, ``P1: inf MΩ AUTO`` (over range), ``P1: 0  AUTO`` (no unit),
``P1: TRUE`` (continuity). The flags' names are those in libsigrok's ``src/analog.c``. Zero is given with a smaller
prefix: ``0 mV`` stands for 0.00 V.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from decimal import Decimal

from assistant.meter.readings import Sample

LONGEST = 200
"""Bytes of a line; a longer one is none of sigrok's."""

_LINE = re.compile(r"([^:\x00-\x1f]{1,40}): (\S{1,40})(?: (.*))?")
_NUMBER = re.compile(r"[+-]?\d{1,9}(?:[.,]\d{1,9})?", re.ASCII)
_OVER = frozenset({"inf", "+inf", "-inf", "infinity", "-infinity"})

_FLAGS = frozenset(
    "AC DC RMS DIODE HOLD MAX MIN AUTO REL DURATION AVG REF UNSTABLE 4-WIRE AUTOMQ AUTOMODEL".split()  # noqa: SIM905
)

_PREFIXES = {
    "p": -12,
    "n": -9,
    "u": -6,
    "\N{MICRO SIGN}": -6,
    "\N{GREEK SMALL LETTER MU}": -6,
    "m": -3,
    "": 0,
}
_PREFIXES |= {"k": 3, "M": 6, "G": 9}

_OHM_SIGNS = ("\N{OHM SIGN}", "\N{GREEK CAPITAL LETTER OMEGA}", "Ohm")

_UNITS = {
    "V": ("voltage", {-3: "mV", 0: "V"}),
    "A": ("current", {0: "A"}),
    **dict.fromkeys(_OHM_SIGNS, ("resistance", {0: "ohm", 3: "kilohm", 6: "megohm"})),
    "s": ("time", {-3: "ms", 0: "s"}),
    "RPM": ("speed", {0: "rpm"}),
    "\N{DEGREE SIGN}C": ("temperature", {0: "celsius"}),
    "\N{DEGREE SIGN}F": ("temperature", {0: "fahrenheit"}),
    "Hz": ("frequency", {}),
    "F": ("capacitance", {}),
}
"""Quantity of a unit, and our names of it by the power of ten in its prefix."""


@dataclass(frozen=True)
class _Shown:
    """The unit of a line: quantity, our name or "", and the power of ten from the number shown to that name."""

    quantity: str
    unit: str
    power: int


def parsed(line: bytes, at_s: float) -> tuple[str, Sample] | None:
    """The channel and the sample of a line; None for everything that is no value.

    Args:
        line: One line, with or without its end.
        at_s: When it came.
    """
    if len(line) > LONGEST:
        return None
    found = _LINE.fullmatch(line.decode("utf-8", "replace").strip("\r\n"))
    if found is None or found[1].startswith("META "):
        return None
    channel, number, rest = found[1], found[2], found[3] or ""
    words = rest.split(" ")
    flags = _FLAGS.intersection(words)
    shown = _unit(words[0] if words[0] not in _FLAGS else "")
    over = Sample(
        at_s,
        None,
        shown.unit,
        "diode" if "DIODE" in flags else shown.quantity,
        ac="AC" in flags,
        dc="DC" in flags,
        hold="HOLD" in flags,
        peak=bool(flags & {"MAX", "MIN"}),
        autorange="AUTO" in flags,
        relative="REL" in flags,
    )
    if number.lower() in _OVER:
        return channel, over
    if number in ("TRUE", "FALSE"):
        value = Decimal(1 if number == "TRUE" else 0)
        return channel, replace(over, value=value, step=Decimal(1), unit="", quantity="continuity")
    if not _NUMBER.fullmatch(number):
        return None
    value = Decimal(number.replace(",", ".")).scaleb(shown.power)
    exponent = value.as_tuple().exponent
    step = Decimal(1).scaleb(exponent if isinstance(exponent, int) else 0)
    # Sigrok gives zero with a prefix, so its digits are not those of the display.
    return channel, replace(over, value=value or Decimal(0), step=step)


def _unit(word: str) -> _Shown:
    """What a unit with its prefix says."""
    for name, (quantity, ours) in _UNITS.items():
        prefix = word.removesuffix(name) if word.endswith(name) else None
        if prefix is None or prefix not in _PREFIXES:
            continue
        power = _PREFIXES[prefix]
        fitting = [known for known in ours if known <= power]
        if not ours:
            return _Shown(quantity, "", power)
        near = max(fitting) if fitting else min(ours)
        return _Shown(quantity, ours[near], power - near)
    return _Shown("other", "", 0)


class SigrokLines:
    """Takes bytes as they come, and gives whole lines; an endless one is dropped, not kept."""

    def __init__(self) -> None:
        self._rest = b""
        self._skipping = False

    def feed(self, chunk: bytes) -> list[bytes]:
        """The lines that these bytes complete."""
        *whole, rest = (self._rest + chunk).split(b"\n")
        if self._skipping and whole:
            whole = whole[1:]
            self._skipping = False
        if len(rest) > LONGEST:
            rest, self._skipping = b"", True
        self._rest = b"" if self._skipping else rest
        return [line for line in whole if len(line) <= LONGEST]
