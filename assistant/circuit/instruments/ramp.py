"""A current clamp on an oscilloscope: the shape of the primary's current, and the time to its flat top."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.instruments.model import TURNING, InstrumentModel, Probing
from assistant.circuit.lamps import NO_OBSERVER
from assistant.circuit.network import GROUND
from assistant.circuit.observed import Observed, Shown, below, columns
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.remembered import once
from assistant.circuit.situations import Situation, portions
from assistant.circuit.turning import Waves, turn

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from assistant.circuit.catalogue import Circuit
    from assistant.circuit.parameters import Systems
    from assistant.core.library.procedure import Measurement

    Floats = NDArray[np.float64]

NO_CURRENT_A = 0.5
AT_ONCE_S = 1e-3
FLAT_S = 0.3e-3
"""A top is seen to be flat from this long on; chosen, not fitted."""
RAMP_SPREAD = 0.15
"""Widths of these borders, in natural logarithm, and the borders of a ramp; chosen, not fitted."""


@dataclass(frozen=True, eq=False)
class Ramp(Shown):
    """The primary's current on a scope; arrays of shape ``(n,)``.

    Attributes:
        peak: Greatest current in A.
        least: Least current in A while the driver is off.
        limit_s: Seconds until the driver limits; infinite if it does not.
        flat_s: Seconds for which it limits.
    """

    peak: Floats
    least: Floats
    limit_s: Floats
    flat_s: Floats

    def honest(self, outcomes: Sequence[str]) -> Floats:
        """Shares of what is said of the ramp."""
        none = below(self.peak, NO_CURRENT_A, RAMP_SPREAD)
        constant = (1 - none) * (1 - below(self.least, NO_CURRENT_A, RAMP_SPREAD))
        switched = 1 - none - constant
        at_once = switched * below(np.minimum(self.limit_s, 1.0), AT_ONCE_S, RAMP_SPREAD)
        flat = (switched - at_once) * (1 - below(self.flat_s, FLAT_S, RAMP_SPREAD))
        known = {
            "no-current": none,
            "constant": constant,
            "at-once": at_once,
            "flat-top": flat,
            "slow-ramp": switched - at_once - flat,
        }
        return columns(known, outcomes)

    def in_numbers(self) -> str:
        """Peak and time to the limit of the first car."""
        reached = 1e3 * float(self.limit_s[0])
        limit = f", at the limit after {reached:.1f} ms" if np.isfinite(reached) else ""
        return f"the current rises to {float(self.peak[0]):.1f} A{limit}"

    def part(self, rows: slice) -> Ramp:
        """That of some rows."""
        return Ramp(*(getattr(self, field.name)[rows] for field in fields(self)))


@once
def unloaded(systems: Systems, situation: Situation) -> list[Waves]:
    """Waves of a turning engine with nothing connected, for each portion of the rows."""
    posts = ("battery-positive", GROUND)
    return [
        turn(rows, situation.engine, situation.unplugged, posts, NO_OBSERVER)
        for rows in portions(systems, situation)
    ]


@once
def ramps(systems: Systems, situation: Situation) -> Ramp:
    """The primary's current on a scope, for every mechanism of a situation in which the engine turns."""
    parts: list[tuple[Floats, ...]] = []
    for rows, waves in zip(portions(systems, situation), unloaded(systems, situation), strict=True):
        # Where the driver's current is not the coil's, the coil's has no top.
        reached = waves.peak_a > 0.8 * rows.values["current-limit"]
        limit_s = np.where(reached, waves.limit_s, np.inf)
        flat_s = np.where(np.isfinite(limit_s), waves.on_s - np.minimum(limit_s, waves.on_s), 0.0)
        parts.append((waves.peak_a, waves.least_a, limit_s, flat_s))
    return Ramp(*(np.concatenate(part) for part in zip(*parts, strict=True)))


def check_ramp(circuit: Circuit, measure: Measurement) -> None:
    """Refuse a ramp anywhere but on the feed cable of a turning engine's plugged coil.

    Raises:
        CircuitProblem: What is wrong, and what would be right.
    """
    del circuit
    if measure.probe != "feed-wire" or measure.engine not in TURNING:
        raise CircuitProblem("A ramp is seen on the coil's feed cable, with the engine turning.")
    if "coil" in measure.unplugged:
        raise CircuitProblem("The coil is unplugged, so its feed cable carries no current to measure.")


class ClampScope(InstrumentModel):
    """The shape, which is answered with a word."""

    outcomes = ("slow-ramp", "flat-top", "at-once", "no-current", "constant")
    scope = True

    def check(self, circuit: Circuit, measure: Measurement) -> None:
        """On the feed cable of the plugged coil, while the engine turns."""
        check_ramp(circuit, measure)

    def look(self, case: Probing) -> Observed:
        """The ramp."""
        return Observed(ramps(case.systems, case.situation).part(case.rows))

    def nothing(self, count: int) -> Observed:
        """No current."""
        none = np.zeros(count)
        return Observed(Ramp(none, none, np.full(count, np.inf), none))


class RampTimer(InstrumentModel):
    """The time to the flat top."""

    quantity = "s"
    scope = True

    def check(self, circuit: Circuit, measure: Measurement) -> None:
        """On the feed cable of the plugged coil, while the engine turns."""
        check_ramp(circuit, measure)

    def look(self, case: Probing) -> Observed:
        """The time in s; infinite if the driver does not limit."""
        return Observed(value=ramps(case.systems, case.situation).limit_s[case.rows])

    def nothing(self, count: int) -> Observed:
        """No flat top."""
        return Observed(value=np.full(count, np.inf))


MODELS = (ClampScope("clamp-scope"), RampTimer("ramp-timer"))
