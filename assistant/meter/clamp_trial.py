"""What `gear --clamp-scope` shows: a trial of the clamp on a scope, with no current in it."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Any

from assistant.meter.clamp_capture import Collected, filed, live, selecting
from assistant.meter.dwells import Dwells, dwells
from assistant.meter.shapes import SLOWEST_RATE, UNSEEN_A, ZERO_A
from assistant.meter.sigrok import program
from assistant.meter.spec import ClampSpec

CAPTURED_S = 1.0
"""Length of the capture, s."""

ZEROED_A = max(wide for _, wide in ZERO_A)
"""A level beyond this, A, is hardly that of a clamp that was zeroed."""


@dataclass(frozen=True)
class ClampTrial:
    """What a clamp on a scope gave.

    Attributes:
        spec: As it was named.
        mv_per_a: Of the clamp.
        found: What came.
        idle: Its level and noise, from one capture; None without a capture.
    """

    spec: str
    mv_per_a: float
    found: Collected
    idle: Dwells | None

    @property
    def able(self) -> bool:
        """Whether it can be captured at all."""
        return self.idle is not None

    @property
    def level_a(self) -> float:
        """The level between pulses, A, with the sign that the clamp gives."""
        if self.idle is None:
            return 0.0
        return -self.idle.level if self.idle.reversed else self.idle.level

    def text(self) -> str:
        """The same as text."""
        if self.found.capture is None or self.idle is None:
            return f"No capture came from {self.spec}. {self._reason()}\n"
        channel = f"Channel {self.found.channels[0]}" if self.found.channels else "The file"
        scale = f"The clamp's {self.mv_per_a:g} mV per ampere make amperes of it"
        unit = {"A": "measures amperes", "V": "measures volts"}.get(self.found.unit, "says no unit")
        lines = [f"{channel} {unit}. {scale if self.found.unit != 'A' else 'No scale is needed'}."]
        capture = self.found.capture
        lines.append(
            f"It gives {capture.rate:,.0f} samples a second: {len(capture.ampere):,} in {capture.duration_s:.2f} s."
        )
        lines.append(f"Idle level {self.level_a:.2f} A; noise {self.idle.noise:.2g} A, one sample.")
        return "\n".join([*lines, *self._advice(self.idle)]) + "\n"

    def _advice(self, idle: Dwells) -> list[str]:
        found = []
        if self.found.rate < SLOWEST_RATE:
            found.append(f"That is too slow to see a ramp: it takes {SLOWEST_RATE:,.0f} samples a second.")
        if idle.count:
            found.append(
                f"The current pulses ({idle.count} times). Try it with the engine off, to see its zero."
            )
        elif abs(self.level_a) > ZEROED_A:
            found.append("With no current in it a clamp shows 0 A: zero it, or take it off the cable.")
        if idle.least > UNSEEN_A:
            found.append(f"Pulses under {idle.least:.1f} A are lost in this noise. Take a smaller range.")
        return found

    def _reason(self) -> str:
        """Why nothing came, and what to do about it."""
        found = self.found
        if len(found.channels) > 1:
            names = ", ".join(found.channels)
            return f"It has several channels ({names}). Name the clamp's: {self.spec}:channel={found.channels[0]}"
        if found.channels:
            return "It does not say how many samples it takes in a second. Only a scope can be used."
        if found.complaint.startswith("Driver "):
            return "Sigrok has no such driver. 'sigrok-cli --list-supported' names those that it has."
        said = f"Sigrok says: {found.complaint.rstrip('.')}. " if found.complaint else ""
        if ClampSpec.of(self.spec).file is not None:
            return f"{said}Name a file of sigrok with a capture of one channel."
        return f"{said}Check its cable, its driver and the name of its channel."

    def to_json(self) -> dict[str, Any]:
        """The same as JSON."""
        capture, idle = self.found.capture, self.idle
        return {
            "able": self.able,
            "spec": self.spec,
            "channels": list(self.found.channels),
            "unit": self.found.unit,
            "mv_per_a": self.mv_per_a,
            "rate_hz": self.found.rate,
            "samples": 0 if capture is None else len(capture.ampere),
            "duration_s": None if capture is None else round(capture.duration_s, 3),
            "level_a": None if idle is None else round(self.level_a, 4),
            "noise_a": None if idle is None else round(idle.noise, 4),
            "pulses": None if idle is None else idle.count,
            "reason": "" if self.able else self._reason(),
            "sigrok": self.found.complaint,
        }


def tried(text: str) -> ClampTrial:
    """Capture the clamp for a second.

    Raises:
        UsageProblem: The spec is malformed.
        GearProblem: The program ``sigrok-cli`` is missing, or does not end.
    """
    spec = ClampSpec.of(text)
    program()
    if spec.file is not None:
        found = filed(spec.file, spec.ampere_per_volt)
    else:
        arguments = selecting(spec.device, spec.channel)
        found = live(arguments, spec.ampere_per_volt, CAPTURED_S, threading.Event())
    idle = dwells(found.capture) if found.capture is not None else None
    return ClampTrial(text, 1000 / spec.ampere_per_volt, found, idle)
