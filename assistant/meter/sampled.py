"""Lines of ``sigrok-cli -O csv`` with one channel as a capture; pure, and any bytes give a capture or nothing.

Seen of libsigrok 0.5.2: notes begin with a semicolon, one of them is ``; Samplerate: 20 kHz``; then comes the unit,
``V DC``, and then a number on each line.
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
_PARTS = {b"": 1.0, b"m": 1e-3, b"u": 1e-6}


class SampledLines:
    """Collects a capture.

    Args:
        ampere_per_volt: Of the clamp, if the device measures its voltage: 100 for one of 10 mV/A.
    """

    def __init__(self, ampere_per_volt: float) -> None:
        self._ampere_per_volt = ampere_per_volt
        self._rate = 0.0
        self._scale = ampere_per_volt
        self._values = array("d")

    def take(self, line: bytes) -> None:
        """A further line."""
        line = line.strip()
        if len(self._values) < MOST and _NUMBER.fullmatch(line):
            self._values.append(float(line))
        elif (found := _RATE.fullmatch(line)) is not None:
            number = found[1].decode("ascii")
            if number.count(".") <= 1 and number.strip("."):
                self._rate = float(number) * _PREFIXES[found[2] or b""]
        elif (unit := _UNIT.fullmatch(line)) is not None:
            self._scale = _PARTS[unit[1]] * (1.0 if unit[2] == b"A" else self._ampere_per_volt)

    def capture(self) -> CurrentCapture | None:
        """What came; None if the rate is not known or nothing came."""
        if not self._rate > 0 or not self._values:
            return None
        return CurrentCapture(np.array(self._values) * self._scale, self._rate)
