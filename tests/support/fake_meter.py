"""A meter made in software: a pty that speaks the serial protocol of a common meter chip, for sigrok to read.

The protocol is that of Fortune Semiconductor's FS9721_LP3 (data sheet "FS9721_LP3, 4,000 counts auto range DMM", serial
interface): 2400 baud, 8n1, 14 bytes for each value; the upper half of a byte is its number from 1, the lower half are
segments and signs of the display. The packet was written from the table of the sigrok project's page "Multimeter ICs",
which gives the data sheet's content; the segments' letters are those of every seven-segment digit.
"""

from __future__ import annotations

import os
import pty
import shutil
import subprocess
import threading
import time
import tty
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import pytest

from assistant.closing import Closes

DRIVER = "va-va18b"
"""One of sigrok's drivers for meters with this chip; which one does not matter."""

_SEGMENTS = {
    "0": "ABCDEF", "1": "BC", "2": "ABDEG", "3": "ABCDG", "4": "BCFG", "5": "ACDFG", "6": "ACDEFG", "7": "ABC",
    "8": "ABCDEFG", "9": "ABCDFG", "L": "DEF", " ": "",
}  # fmt: skip

# Sigrok's page: in the first byte of a digit A, F, E of bits 0 to 2; in the second D, C, G, B.
_FIRST = {"A": 1, "F": 2, "E": 4}
_SECOND = {"B": 1, "G": 2, "C": 4, "D": 8}

_SIGNS = {
    "auto": (0, 2), "DC": (0, 4), "AC": (0, 8),
    "diode": (9, 1), "k": (9, 2), "n": (9, 4), "u": (9, 8),
    "beep": (10, 1), "M": (10, 2), "%": (10, 4), "m": (10, 8),
    "hold": (11, 1), "rel": (11, 2), "ohm": (11, 4), "F": (11, 8),
    "low": (12, 1), "Hz": (12, 2), "V": (12, 4), "A": (12, 8),
}  # fmt: skip
"""Byte, counted from 0, and bit of each sign of the display."""


@dataclass(frozen=True)
class Display:
    """What the display shows.

    Attributes:
        digits: Four characters of ``0123456789L`` and blank.
        point: The decimal point stands after this digit, 1 to 3; 0 for none.
        signs: Names of the signs that are lit.
        negative: The minus sign is lit.
    """

    digits: str
    point: int
    signs: frozenset[str]
    negative: bool = False

    @staticmethod
    def of(number: str, *signs: str) -> Display:
        """Such as ``of("-12.34", "V", "DC", "auto")``; "OL" is over range."""
        if number == "OL":
            return Display(" 0L ", 0, frozenset(signs))
        whole, _, rest = number.removeprefix("-").partition(".")
        width = 4 - len(rest)
        digits = whole.zfill(width) + rest
        return Display(digits, width if rest else 0, frozenset(signs), number.startswith("-"))

    @staticmethod
    def volts(value: Decimal | float) -> Display:
        """D C volts in the range up to 40 V."""
        return Display.of(f"{value:.2f}", "V", "DC", "auto")

    def packet(self) -> bytes:
        """The 14 bytes."""
        lower = [0] * 14
        lower[0] = 1  # the sign that it sends
        for place, digit in enumerate(self.digits):
            lit = _SEGMENTS[digit]
            lower[1 + 2 * place] = sum(bit for name, bit in _FIRST.items() if name in lit)
            lower[2 + 2 * place] = sum(bit for name, bit in _SECOND.items() if name in lit)
        if self.negative:
            lower[1] |= 8
        if self.point:
            lower[1 + 2 * self.point] |= 8
        for sign in self.signs:
            byte, bit = _SIGNS[sign]
            lower[byte] |= bit
        return bytes((number + 1) << 4 | half for number, half in enumerate(lower))


class FakeMeter(Closes):
    """The meter: shows `display` and sends it at its pace until it is closed.

    Args:
        folder: Where the link to its device file stands.
        every_s: Time between two values; about that of the chip, which converts some three times a second.
    """

    def __init__(self, folder: Path, every_s: float = 0.3) -> None:
        self._link = folder / "meter"
        self._every_s = every_s
        self._lock = threading.Lock()
        self._display: Display | None = Display.volts(0)
        self._end = threading.Event()
        self._ours = -1
        self.plug_in()
        self._thread = threading.Thread(target=self._send, daemon=True)
        self._thread.start()

    @property
    def spec(self) -> str:
        """For ``--meter``; the way around leads libserialport, which looks below /sys/class/tty, to the pty."""
        return f"{DRIVER}:conn=/dev/../../..{self._link}"

    def show(self, display: Display | None) -> float:
        """Show this from now on; None is silence. Returns the time, as `time.monotonic` gives it."""
        with self._lock:
            self._display = display
            return time.monotonic()

    def plug_in(self) -> None:
        """Put the cable in."""
        with self._lock:
            self._ours, theirs = pty.openpty()
            tty.setraw(theirs)
            self._theirs = theirs
            self._link.symlink_to(os.ttyname(theirs))

    def unplug(self) -> None:
        """Pull the cable out."""
        with self._lock:
            self._link.unlink(missing_ok=True)
            if self._ours >= 0:
                os.close(self._theirs)
                os.close(self._ours)
            self._ours = -1

    def raw(self, data: bytes) -> None:
        """Send these bytes as they are."""
        with self._lock:
            if self._ours >= 0:
                os.write(self._ours, data)

    def _send(self) -> None:
        while not self._end.wait(self._every_s):
            display = self._display
            if display is not None:
                self.raw(display.packet())

    def close(self) -> None:
        """Switch it off."""
        self._end.set()
        self._thread.join()
        self.unplug()


def with_modem_lines(folder: Path, environment: pytest.MonkeyPatch) -> None:
    """Let programs that are started from here open a pty as a serial port; skips where that cannot be.

    The kernel's ptys have no modem lines, and libserialport 0.1.1 wants some (`modem_lines.c`).
    """
    compiler = shutil.which("cc") or shutil.which("tcc")
    if shutil.which("sigrok-cli") is None or compiler is None:
        pytest.skip("needs sigrok-cli and a C compiler; '.ci/setup test' installs both")
    library = folder / "modem_lines.so"
    source = Path(__file__).with_name("modem_lines.c")
    subprocess.run([compiler, "-shared", "-fPIC", "-nostdlib", "-o", str(library), str(source)], check=True)
    environment.setenv("LD_PRELOAD", str(library))
