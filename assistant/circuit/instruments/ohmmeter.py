"""An ohmmeter on a circuit without a source, or on the pins of the unplugged coil."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.instruments.model import InstrumentModel, Probing
from assistant.circuit.observed import Observed
from assistant.circuit.places import check_points
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.remembered import once
from assistant.circuit.situations import Situation, portions
from assistant.circuit.solving import resistance_between
from assistant.core.library.procedure import Engine
from assistant.core.library.vocabulary import OVER_RANGE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.circuit.catalogue import Circuit
    from assistant.circuit.parameters import Systems
    from assistant.core.library.procedure import Measurement

    Floats = NDArray[np.float64]

OVER_RANGE_OHM = 2e6
"""From here on the meter is taken to show no number; most have ranges up to tens of megohm, and an open circuit
of the model is 10 megohm beside whatever leaks."""


@once
def _ohms(systems: Systems, situation: Situation, across: tuple[str, str]) -> Floats:
    """Resistance in ohm between two points; with the coil unplugged, between its own terminals."""
    parts = []
    for rows in portions(systems, situation):
        own_pins = "coil" in situation.unplugged and set(across) == {"feed", "switched"}
        if own_pins and rows.circuit.kind != "built-in":
            parts.append(rows.values["primary-resistance"])
        else:
            parts.append(resistance_between(rows, situation.engine, situation.unplugged, across))
    return np.concatenate(parts)


class Ohmmeter(InstrumentModel):
    """The meter."""

    quantity = "ohm"
    probes = True
    missed = OVER_RANGE

    def check(self, circuit: Circuit, measure: Measurement) -> None:
        """On two points of the circuit, with the key off."""
        check_points(circuit, measure)
        if measure.engine is not Engine.KEY_OFF:
            raise CircuitProblem(
                "Resistance is measured with the key off; a live circuit spoils the reading."
            )

    def look(self, case: Probing) -> Observed:
        """The resistance in ohm."""
        ohm = _ohms(case.systems, case.situation, case.across)[case.rows]
        return Observed(value=np.where(ohm > OVER_RANGE_OHM, np.inf, ohm))

    def on_bare_pins(self, measure: Measurement) -> bool:
        """The coil's own pins have no wires."""
        return {measure.clip, measure.probe} == {"feed", "switched"}


MODELS = (Ohmmeter("ohmmeter"),)
