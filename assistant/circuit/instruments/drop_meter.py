"""A voltmeter with the heavy lamp as load: the drop of a feed, a ground or a control wire under some amperes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.beginning import battery_of
from assistant.circuit.instruments.model import InstrumentModel, Probing
from assistant.circuit.lamps import HEAVY_LAMP, filament, lamp_named
from assistant.circuit.network import reduce
from assistant.circuit.observed import Observed
from assistant.circuit.places import check_points
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.remembered import once
from assistant.circuit.situations import Situation, portions
from assistant.circuit.solving import settled, steady
from assistant.core.library.procedure import Engine
from assistant.core.library.vocabulary import HEAVY_LAMP_BETWEEN

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.circuit.catalogue import Circuit
    from assistant.circuit.parameters import Systems
    from assistant.core.library.procedure import Measurement

    Floats = NDArray[np.float64]


@once
def _drops(systems: Systems, situation: Situation, across: tuple[str, str], lit: tuple[str, str]) -> Floats:
    """Voltage between two points with the heavy lamp between two others, for every mechanism of the situation."""
    engine, unplugged = situation.engine, situation.unplugged
    heavy = lamp_named(HEAVY_LAMP)
    tables = filament(heavy)
    parts = []
    for unsettled in portions(systems, situation):
        rows = settled(unsettled, engine, unplugged, lit, heavy)
        volts, kelvin, _ = steady(rows, engine, unplugged, lit, heavy)
        drawn = np.interp(kelvin, tables.kelvin, tables.conductance) * volts
        emf, starter = battery_of(rows, engine)
        gain = reduce(rows, engine, unplugged, {"lamp": lit, "drop": across}, steady=True).gain["drop"]
        parts.append(gain["battery"] * emf + gain["starter"] * starter + gain["lamp"] * drawn)
    return np.concatenate(parts)


class DropMeter(InstrumentModel):
    """The meter on two points; `HEAVY_LAMP_BETWEEN` says where its lamp is.

    Args:
        name: Name in ``terms.yaml``.
        engine: State of key and engine in which it measures.
        unplugged: Sets of parts that may then be unplugged.
        how: The same in a sentence.
    """

    quantity = "V"
    probes = True

    def __init__(
        self,
        name: str,
        engine: Engine,
        unplugged: tuple[tuple[str, ...], ...],
        how: str,
    ) -> None:
        super().__init__(name)
        self._lit = HEAVY_LAMP_BETWEEN[name]
        self._engine = engine
        self._unplugged = unplugged
        self._how = how

    def check(self, circuit: Circuit, measure: Measurement) -> None:
        """On two points of the circuit, with key and plugs as the lamp's current needs them."""
        check_points(circuit, measure)
        if measure.engine is not self._engine or measure.unplugged not in self._unplugged:
            raise CircuitProblem(self._how)

    def look(self, case: Probing) -> Observed:
        """The drop in V."""
        one, other = self._lit
        lit = (one, case.measure.probe if other is None else other)
        return Observed(value=_drops(case.systems, case.situation, case.across, lit)[case.rows])


MODELS = (
    DropMeter(
        "loaded-voltmeter",
        Engine.KEY_ON,
        ((), ("coil",)),
        "A drop under the heavy lamp is measured with the key on and nothing but the coil unplugged.",
    ),
    DropMeter(
        "ground-drop-meter",
        Engine.KEY_OFF,
        ((),),
        "A ground's drop under the heavy lamp is measured with the key off, all plugged in.",
    ),
    DropMeter(
        "control-drop-meter",
        Engine.KEY_ON,
        (("module",),),
        "A control wire's drop under the heavy lamp is measured with the key on and the module unplugged.",
    ),
)
