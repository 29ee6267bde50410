"""Lines of sigrok-cli with one channel as a capture; pure, and any bytes give a capture or nothing.

Seen of libsigrok 0.5.2. Of a device, ``-O analog``: ``CH1: 3.0902 V DC``, with channel and unit on each line.
Of a file, ``-O csv``: notes that begin with a semicolon, one of them ``; Samplerate: 20 kHz``; then the unit, ``V DC``,
and then a number on each line. Of a device that has more channels than the chosen one, csv loses most samples
("Expecting 1020 analog samples, got 984").
"""

from __future__ import annotations

import re
from array import array

import numpy as np

from assistant.meter.dwells import CurrentCapture

MOST = 4_000_000
"""Samples that are kept: 20 s at 200,000 a second."""

_RATE = re.compile(rb";?\s*(?:META )?[Ss]amplerate: ([\d.]{1,12})(?: ([kMG]?)Hz)?\s*")
_PREFIXES = {b"": 1.0, b"k": 1e3, b"M": 1e6, b"G": 1e9}
_UNIT = re.compile(rb"\s*([mu]?)([VA])\b[\w .-]{0,30}")
_NUMBER = re.compile(rb"[+-]?\d{1,20}(?:\.\d{1,20})?(?:e[+-]?\d{1,2})?")
_NAMED = re.compile(rb"([A-Za-z0-9_.+-]{1,40}): ([+-]?\d{1,20}(?:\.\d{1,20})?) ([mun]?)([VA])\b[\w .-]{0,30}")
_PARTS = {b"": 1.0, b"m": 1e-3, b"u": 1e-6, b"n": 1e-9}


class SampledLines:
    """Collects a capture.

    Args:
        ampere_per_volt: Of the clamp, if the device measures its voltage: 100 for one of 10 mV/A.

    Attributes:
        rate: Samples a second; 0 until a line says it. Where none does, it can be set.
        unit: What the device measures: "V" or "A"; "" before it was said.
        channels: Names of its channels that came.
    """

    def __init__(self, ampere_per_volt: float) -> None:
        self.unit = ""
        self.channels: list[str] = []
        self._ampere_per_volt = ampere_per_volt
        self.rate = 0.0
        self._scale = ampere_per_volt
        self._values = array("d")

    def take(self, line: bytes) -> None:
        """A further line."""
        line = line.strip()
        if (named := _NAMED.fullmatch(line)) is not None:
            self._take_named(named[1].decode("ascii"), float(named[2]) * _PARTS[named[3]], named[4])
        elif len(self._values) < MOST and _NUMBER.fullmatch(line):
            self._values.append(float(line))
        elif (found := _RATE.fullmatch(line)) is not None:
            number = found[1].decode("ascii")
            if number.count(".") <= 1 and number.strip("."):
                self.rate = float(number) * _PREFIXES[found[2] or b""]
        elif (unit := _UNIT.fullmatch(line)) is not None:
            self._scale = _PARTS[unit[1]] * self._ampere_per(unit[2])

    def _take_named(self, channel: str, value: float, unit: bytes) -> None:
        """A value with its channel and unit."""
        if channel not in self.channels:
            self.channels.append(channel)
        self._scale = self._ampere_per(unit)
        if len(self._values) < MOST:
            self._values.append(value)

    def _ampere_per(self, unit: bytes) -> float:
        """What a value in this unit counts in A; the unit is kept."""
        self.unit = unit.decode("ascii")
        return 1.0 if unit == b"A" else self._ampere_per_volt

    def capture(self) -> CurrentCapture | None:
        """What came; None if the rate is not known, if nothing came, or if it came of several channels."""
        if not self.rate > 0 or not self._values or len(self.channels) > 1:
            return None
        return CurrentCapture(np.array(self._values) * self._scale, self.rate)
