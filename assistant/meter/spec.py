"""Which meter: sigrok's own way to name a driver and its connection, checked before it becomes an argument."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from assistant.errors import UsageProblem
from assistant.printing import in_line

LONGEST = 200

_DRIVER = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]{0,60}", re.ASCII)
_OPTION = re.compile(r"([a-z][a-z0-9_]{0,40})=([A-Za-z0-9/._,=+@-]{1,150})", re.ASCII)

DEMO = "demo"
_DEMO_OPTIONS = "analog_channels=1:logic_channels=0"
_DEMO_PACE = "--config=samplerate=5"
_DEMO_VALUE = "--config=channel_group=A0:amplitude=0:offset=12.4"
"""Sigrok's demo driver gives a square wave and 200,000 values a second unless told otherwise; so it is a meter on a
battery.
"""


@dataclass(frozen=True)
class MeterSpec:
    """A driver of sigrok with its options, such as ``DRIVER:conn=/dev/ttyUSB0``.

    Attributes:
        driver: Its name.
        options: Pairs of name and value.
    """

    driver: str
    options: tuple[tuple[str, str], ...] = ()

    @staticmethod
    def of(text: str) -> MeterSpec:
        """Read a spec.

        Raises:
            UsageProblem: It is no such spec; says what one looks like.
        """
        driver, *rest = text.split(":") if len(text) <= LONGEST else [""]
        options = [_OPTION.fullmatch(one) for one in rest]
        if not _DRIVER.fullmatch(driver) or not all(options):
            raise UsageProblem(
                f"'{in_line(text[:LONGEST])}' names no meter. Write a driver of sigrok and its connection, such as "
                "demo or DRIVER:conn=/dev/ttyUSB0; 'bay-assistant gear --meter' lists what is plugged in."
            )
        return MeterSpec(driver, tuple((found[1], found[2]) for found in options if found))

    def __str__(self) -> str:
        return ":".join((self.driver, *(f"{name}={value}" for name, value in self.options)))

    @property
    def port(self) -> str:
        """The device file at which it is connected; "" if its connection is of another kind."""
        conn = dict(self.options).get("conn", "")
        return conn if conn.startswith("/dev/") else ""

    def reading(self) -> list[str]:
        """Arguments of ``sigrok-cli`` that select it as a meter and let it report until it is ended."""
        demo = [_DEMO_PACE, *([] if self.options else [_DEMO_VALUE])] if self.driver == DEMO else []
        return [*self._selected(), *demo, "--continuous"]

    def sampling(self, rate: int) -> list[str]:
        """Arguments that select it as a sampling device."""
        return [*self._selected(), f"--config=samplerate={rate}"]

    def _selected(self) -> list[str]:
        demo = f":{_DEMO_OPTIONS}" if self.driver == DEMO and not self.options else ""
        return [f"--driver={self}{demo}"]


SUFFIX = ".sr"
"""Of a file of sigrok."""


@dataclass(frozen=True)
class ClampSpec:
    """A clamp on a scope, such as ``DRIVER:conn=1.15:channel=CH1:mv-per-a=100``, or a file ``ramp.sr:mv-per-a=100``.

    Attributes:
        device: The device, as for `MeterSpec`; "" for a file.
        file: A file of sigrok in its place; None for a device.
        channel: Name of the channel; "" for a device that has only one.
        ampere_per_volt: Of the clamp.
    """

    device: str
    file: Path | None = None
    channel: str = ""
    ampere_per_volt: float = 100.0

    @staticmethod
    def of(text: str) -> ClampSpec:
        """Read a spec.

        Raises:
            UsageProblem: It is no such spec; says what one looks like.
        """
        parts = text.split(":")
        own = {name: value for name, _, value in (one.partition("=") for one in parts[1:]) if name in _OWN}
        device = ":".join(one for one in parts if one.partition("=")[0] not in _OWN)
        channel = channel_named(own["channel"]) if "channel" in own else ""
        scale = _ampere_per_volt(own["mv-per-a"]) if "mv-per-a" in own else 100.0
        if device.endswith(SUFFIX):
            return ClampSpec("", Path(device), channel, scale)
        return ClampSpec(str(MeterSpec.of(device)), None, channel, scale)


_OWN = ("channel", "mv-per-a")


def _ampere_per_volt(text: str) -> float:
    """The scale of a clamp that gives so many millivolts per ampere."""
    if not re.fullmatch(r"[0-9]{1,4}(\.[0-9]{1,3})?", text, re.ASCII) or not float(text) > 0:
        raise UsageProblem(
            f"'{in_line(text[:LONGEST])}' is no scale of a clamp. Write its millivolts per ampere, such as "
            "mv-per-a=10 or mv-per-a=100; it is printed on the clamp."
        )
    return 1000 / float(text)


def channel_named(text: str) -> str:
    """The name of a channel, checked.

    Raises:
        UsageProblem: It is none.
    """
    if not re.fullmatch(r"[A-Za-z0-9_.+-]{1,40}", text, re.ASCII):
        raise UsageProblem(f"'{in_line(text[:LONGEST])}' names no channel. Write one such as CH1.")
    return text
