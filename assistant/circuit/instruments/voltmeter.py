"""A digital voltmeter, which loads nothing, on two points of the circuit or on a sensor's supply."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from assistant.circuit.instruments.model import InstrumentModel, Probing
from assistant.circuit.lamps import METER
from assistant.circuit.observed import Observed
from assistant.circuit.places import SUPPLIES, check_points
from assistant.circuit.remembered import once
from assistant.circuit.situations import Situation, portions
from assistant.circuit.solving import steady
from assistant.circuit.turning import turn
from assistant.core.library.procedure import Engine

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.circuit.catalogue import Circuit
    from assistant.circuit.parameters import Systems
    from assistant.core.library.procedure import Measurement

    Floats = NDArray[np.float64]


class Volts(NamedTuple):
    """Mean, greatest and least voltage in V, each of shape ``(mechanisms * n,)``."""

    mean: Floats
    top: Floats
    low: Floats


@once
def volts_across(systems: Systems, situation: Situation, across: tuple[str, str]) -> Volts:
    """Voltage between two points under a meter, for every mechanism of the situation."""
    engine, unplugged = situation.engine, situation.unplugged
    parts: list[Volts] = []
    for rows in portions(systems, situation):
        if situation.turning:
            waves = turn(rows, engine, unplugged, across, METER)
            parts.append(Volts(waves.mean_v, waves.top_v, waves.low_v))
        else:
            volts, _, _ = steady(rows, engine, unplugged, across, METER)
            parts.append(Volts(volts, volts, volts))
    return Volts(*(np.concatenate(part) for part in zip(*parts, strict=True)))


class Voltmeter(InstrumentModel):
    """The meter."""

    quantity = "V"
    probes = True

    def check(self, circuit: Circuit, measure: Measurement) -> None:
        """On two points of the circuit, or on a sensor's supply."""
        check_points(circuit, measure, supplies=True)

    def look(self, case: Probing) -> Observed:
        """The mean voltage in V."""
        if case.measure.probe in SUPPLIES:
            there = (
                case.measure.engine is not Engine.KEY_OFF
                and SUPPLIES[case.measure.probe] not in case.mechanism.flags
            )
            return Observed(value=case.systems.values["sensor-supply"] * there)
        return Observed(value=volts_across(case.systems, case.situation, case.across).mean[case.rows])


MODELS = (Voltmeter("voltmeter"),)
