"""Instruments that tell whether there is a signal: a logic probe, an oscilloscope or a frequency meter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from assistant.circuit.instruments.model import TURNING, InstrumentModel, Probing
from assistant.circuit.instruments.voltmeter import volts_across
from assistant.circuit.observed import Observed, Shown, of_known
from assistant.circuit.places import SIGNALS, check_points

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.circuit.catalogue import Circuit
    from assistant.core.library.procedure import Measurement

    Floats = NDArray[np.float64]

TRIGGER_SIGNAL_V = 2.0
"""A signal meter on an ordinary point shows a signal from this swing on; chosen, not fitted."""


@dataclass(frozen=True, eq=False)
class Sign(Shown):
    """Whether there is a sign, shape ``(n,)``; its two words are those of the subclass."""

    there: NDArray[np.bool_]

    WORDS: ClassVar[Mapping[str, bool]] = {"present": True, "missing": False}
    """Outcome to whether the sign is there."""

    def honest(self, outcomes: Sequence[str]) -> Floats:
        """1 for the word that fits, else 0."""
        return np.stack(
            [(self.there == of_known(self.WORDS, name)).astype(float) for name in outcomes], axis=1
        )

    def in_numbers(self) -> str:
        """A sign has no number."""
        return "there is a sign" if bool(self.there[0]) else "there is no sign"


class PulseMeter(InstrumentModel):
    """The meter on two points of the circuit, or on a sensor's signal."""

    outcomes = tuple(Sign.WORDS)
    probes = True
    missed = "missing"

    def check(self, circuit: Circuit, measure: Measurement) -> None:
        """On two points of the circuit, or on a sensor's signal at the plugged module."""
        check_points(circuit, measure, signals=True)

    def look(self, case: Probing) -> Observed:
        """Whether there is a signal."""
        probe = case.measure.probe
        if probe in SIGNALS:
            turning = case.measure.engine in TURNING
            return Observed(Sign(case.alike(turning and not case.mechanism.flags & set(SIGNALS[probe]))))
        volts = volts_across(case.systems, case.situation, case.across)
        return Observed(Sign((volts.top - volts.low > TRIGGER_SIGNAL_V)[case.rows]))

    def nothing(self, count: int) -> Observed:
        """No signal."""
        return Observed(Sign(np.zeros(count, dtype=bool)))


MODELS = (PulseMeter("signal-meter"), PulseMeter("logic-probe"))
