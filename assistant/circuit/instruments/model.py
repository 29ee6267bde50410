"""The shape of an instrument's file: all that the circuit model has to know before a procedure can use it.

A file of this room holds one instrument, or a few that differ only in their loads: where it may touch, what it
loads, its outcomes or its unit, and how the honest answer comes about.
It ends in `MODELS`, and `REGISTRY` finds it there: no list has to be kept.

The dialogue and the rules of the trade need some facts of an instrument and cannot import this room.
That it loads with a filament stands in ``terms.yaml`` (``filament: true``), because every new lamp says it; `adding`
compares it with the model.
That it closes around a cable (`CLAMPS`) or touches nothing (`SENSES`) stands in the core's vocabulary, because the
dialogue has sentences of its own for these.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.catalogue import Circuit, Mechanism
from assistant.circuit.lamps import Lamp
from assistant.circuit.network import GROUND
from assistant.circuit.observed import Observed
from assistant.circuit.parameters import Systems
from assistant.circuit.situations import Situation
from assistant.core.library.procedure import Engine, Measurement

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

TURNING = (Engine.CRANKING, Engine.RUNNING)
"""States in which the engine turns."""


@dataclass(frozen=True, eq=False)
class Probing:
    """One measurement on some cars with one fault.

    Attributes:
        circuit: The circuit.
        mechanism: The mechanism of the fault.
        measure: The measurement that is really made, by the names of a coil's circuit.
        systems: The cars.
        lamp: The lamp in the test lamp's place.
        situation: The situation that is computed together.
        rows: The rows of the situation that are these cars.
    """

    circuit: Circuit
    mechanism: Mechanism
    measure: Measurement
    systems: Systems
    lamp: Lamp
    situation: Situation
    rows: slice

    @property
    def across(self) -> tuple[str, str]:
        """The two points of the instrument, positive first."""
        return self.measure.probe, self.measure.clip or GROUND

    def alike(self, found: bool) -> NDArray[np.bool_]:
        """An answer that is the same on all of these cars."""
        return np.full(self.systems.count, found)


class InstrumentModel(ABC):
    """The model of one instrument.

    Args:
        name: Name in ``terms.yaml``.

    Attributes:
        outcomes: Outcomes that it can give; empty for one that gives numbers.
        quantity: Base unit of its readings (V, A, ohm or s); "" for one that gives outcomes.
        probes: Its tip goes to a point of the circuit, so that it can miss the pin.
        missed: The answer of a person whose tip has missed: an outcome, "over-range", or "" for a reading of 0.
        scope: It needs an oscilloscope.
        figures: Chosen figures of its file on which its answers depend; the version of the model counts them in.
    """

    outcomes: tuple[str, ...] = ()
    quantity: str = ""
    probes: bool = False
    missed: str = ""
    scope: bool = False
    figures: tuple[object, ...] = ()

    def __init__(self, name: str) -> None:
        self.name = name

    @abstractmethod
    def check(self, circuit: Circuit, measure: Measurement) -> None:
        """Refuse a measurement that the circuit cannot have with this instrument.

        Raises:
            CircuitProblem: What is wrong, and what would be right.
        """

    @abstractmethod
    def look(self, case: Probing) -> Observed:
        """Read the instrument on each car; `Observed.facts` stay empty."""

    def nothing(self, count: int) -> Observed:
        """Read it on so many cars while nothing comes to it: the engine stands, or both leads are on one point."""
        return Observed(value=np.zeros(count))

    def bulb(self, lamp: Lamp) -> Lamp | None:
        """The filament that it puts between its points; None without one.

        Args:
            lamp: The lamp in the test lamp's place.
        """
        del lamp
        return None

    def on_bare_pins(self, measure: Measurement) -> bool:
        """Whether the unplugged coil itself is measured, so that swapped wires in its plug change nothing."""
        del measure
        return False
