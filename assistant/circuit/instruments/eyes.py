"""A look at a thing whose state the model knows: the security lamp, the scan tool, the weather."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from assistant.circuit.instruments.model import TURNING, InstrumentModel, Probing
from assistant.circuit.instruments.pulses import Sign
from assistant.circuit.observed import Observed
from assistant.circuit.problems import CircuitProblem
from assistant.core.library.procedure import Engine

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.circuit.catalogue import Circuit
    from assistant.core.library.procedure import Measurement

ITEMS = ("security-lamp", "engine-speed", "outside-air")


class Sight(Sign):
    """Whether the lamp is on, an engine speed is shown, or frost is outside."""

    WORDS: ClassVar[Mapping[str, bool]] = {
        "present": True,
        "lamp-on": True,
        "cold": True,
        "missing": False,
        "lamp-off": False,
        "mild": False,
    }


class Eyes(InstrumentModel):
    """The eyes."""

    outcomes = tuple(Sight.WORDS)

    def check(self, circuit: Circuit, measure: Measurement) -> None:
        """At a thing whose state the model knows."""
        del circuit
        if measure.probe not in ITEMS:
            raise CircuitProblem(f"The circuit has nothing to look at that is called '{measure.probe}'.")

    def look(self, case: Probing) -> Observed:
        """The security lamp on, an engine speed in the live data, frost outside (never: it is 20 Celsius)."""
        probe, engine, flags = case.measure.probe, case.measure.engine, case.mechanism.flags
        if probe == "engine-speed":
            return Observed(Sight(case.alike(engine in TURNING and "crank-signal-missing" not in flags)))
        on = probe == "security-lamp" and probe in flags and engine is not Engine.KEY_OFF
        return Observed(Sight(case.alike(on)))


MODELS = (Eyes("eyes"),)
