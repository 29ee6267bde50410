"""What `gear --meter` shows: the devices that are plugged in, and a trial of one meter."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Any

from assistant.core.values.units import number_written, plain_number
from assistant.meter.lines import SigrokLines, parsed
from assistant.meter.readings import MeterReading, Sample
from assistant.meter.sigrok import PluggedMeter, Running, program, scan
from assistant.meter.spec import MeterSpec
from assistant.meter.steadiness import Steadiness
from assistant.meter.wish import Wish, function_words

PATIENCE_S = 8.0
"""Time for the first value; sigrok looks for a serial meter for 3 s."""
WATCHED_S = 3.5
"""Time over which its values are watched."""
_SHOWN = 5


@dataclass(frozen=True)
class MeterList:
    """What is plugged in.

    Attributes:
        devices: Those that answer sigrok's search.
        ports: Serial ports, at which a meter has to be named.
    """

    devices: tuple[PluggedMeter, ...]
    ports: tuple[str, ...]

    @property
    def able(self) -> bool:
        """A list is no finding, also an empty one."""
        return True

    def text(self) -> str:
        """The same as text."""
        lines = ["Devices that answer, for --meter:"]
        lines += [f"  {one.spec:<14} {one.told}" for one in self.devices] or ["  none"]
        lines += ["", "Serial ports:", *([f"  {port}" for port in self.ports] or ["  none"]), ""]
        lines.append(
            "A meter on a serial port does not answer a search: name its driver and its port, such as"
        )
        lines.append("  bay-assistant gear --meter DRIVER:conn=/dev/ttyUSB0")
        lines.append("'sigrok-cli --list-supported' names the drivers.")
        return "\n".join(lines) + "\n"

    def to_json(self) -> dict[str, Any]:
        """The same as JSON."""
        return {
            "devices": [{"spec": one.spec, "told": one.told} for one in self.devices],
            "ports": list(self.ports),
        }


@dataclass(frozen=True)
class MeterTrial:
    """What a meter reported.

    Attributes:
        spec: As it was named.
        samples: The values of its main display, oldest first.
        reading: The last reading that stood still; None if none did.
        complaint: What sigrok wrote meanwhile; "" for nothing.
    """

    spec: str
    samples: tuple[Sample, ...]
    reading: MeterReading | None
    complaint: str

    @property
    def able(self) -> bool:
        """Whether it can be read at all."""
        return bool(self.samples)

    def text(self) -> str:
        """The same as text."""
        if not self.samples and self.complaint.startswith("Driver "):
            return f"Sigrok has no driver for {self.spec}. 'sigrok-cli --list-supported' names those that it has.\n"
        if not self.samples:
            said = f" Sigrok says: {self.complaint.rstrip('.')}." if self.complaint else ""
            return (
                f"No value came from {self.spec}.{said} Check the cable, the meter's switch, and its own switch for "
                "sending, often marked RS232 or PC.\n"
            )
        last = self.samples[-1]
        function = function_words(last).replace("A C", "AC").replace("D C", "DC")
        lines = [f"The meter is on {function or 'a function that no test uses'}."]
        span_s = last.at_s - self.samples[0].at_s
        if span_s > 0:
            lines.append(f"It gives {(len(self.samples) - 1) / span_s:.1f} values a second.")
        lines.append(f"The last ones: {', '.join(map(_written, self.samples[-_SHOWN:]))}.")
        if last.hold:
            lines.append("Its hold is on: the value is an old one.")
        elif self.reading is None:
            lines.append("The value does not stand still.")
        elif self.reading.value is None:
            lines.append("It stands over its range.")
        else:
            lines.append(f"It stands at {number_written(self.reading.value, self.reading.unit)}.")
        return "\n".join(lines) + "\n"

    def to_json(self) -> dict[str, Any]:
        """The same as JSON."""
        reading = self.reading
        return {
            "able": self.able,
            "spec": self.spec,
            "function": function_words(self.samples[-1]) if self.samples else "",
            "samples": [
                {
                    "at_s": round(one.at_s - self.samples[0].at_s, 3),
                    "value": None if one.value is None else plain_number(one.value),
                    "unit": one.unit,
                    "quantity": one.quantity,
                }
                for one in self.samples
            ],
            "stands_at": None
            if reading is None
            else {
                "value": None if reading.value is None else plain_number(reading.value),
                "unit": reading.unit,
                "over_range": reading.over_range,
            },
            "sigrok": self.complaint,
        }


def plugged() -> MeterList:
    """Look what is plugged in.

    Raises:
        GearProblem: The program ``sigrok-cli`` is missing, or does not end.
    """
    devices, ports = scan()
    return MeterList(tuple(devices), tuple(ports))


def tried(text: str) -> MeterTrial:
    """Read a meter for some seconds.

    Raises:
        UsageProblem: The spec is malformed.
        GearProblem: The program ``sigrok-cli`` is missing.
    """
    spec = MeterSpec.of(text)
    program()
    lines, channel = SigrokLines(), ""
    samples: list[Sample] = []
    begun = time.monotonic()
    with Running(spec.reading()) as running:
        while time.monotonic() < (samples[0].at_s + WATCHED_S if samples else begun + PATIENCE_S):
            chunk = running.read(0.25)
            if chunk is None:
                break
            for line in lines.feed(chunk):
                found = parsed(line, time.monotonic())
                channel = channel or (found[0] if found else "")
                if found and found[0] == channel:
                    samples.append(found[1])
        complaint = running.complaint
    return MeterTrial(text, tuple(samples), _stood(samples), complaint)


def _stood(samples: list[Sample]) -> MeterReading | None:
    """The reading that stands at the end, whatever the meter is on."""
    if not samples or not samples[-1].unit:
        return None
    last = samples[-1]
    watch = Steadiness(Wish((last.unit,), ac=last.ac, peak=last.peak))
    for one in samples:
        watch.take(one)
    return watch.current


def _written(sample: Sample) -> str:
    """A value with its unit."""
    if sample.value is None:
        return "over range"
    return number_written(sample.value, sample.unit).strip()
