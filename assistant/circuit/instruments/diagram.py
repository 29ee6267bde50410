"""The maker's diagram of a car: what kind of circuit it has."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.catalogue import Circuit, Mechanism, at_one_coil
from assistant.circuit.instruments.model import InstrumentModel, Probing
from assistant.circuit.observed import Observed, Shown, columns
from assistant.circuit.problems import CircuitProblem

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from assistant.core.library.procedure import Measurement

    Floats = NDArray[np.float64]

DIAGRAMS: dict[str, dict[str, str]] = {
    "coil": {
        "coils": "",
        "coil-driver": "separate",
        "switching": "ground-side",
        "driver-command": "",
        "ballast": "",
    },
    "built-in": {"coil-driver": "built-in"},
    "load": {"part-switching": "ground-side"},
}
"""Answer of the maker's diagram to each question in each kind of circuit; "" if its cars are of several kinds."""

NOT_SHOWN = (
    "built-in",
    "separate",
    "capacitive",
    "contact-points",
    "ground-side",
    "power-side",
    "direct-injection",
    "unknown",
)
"""Answers to a diagram that a car of the model has or has not."""


def _kinds(circuit: Circuit, mechanism: Mechanism, probe: str) -> dict[str, float]:
    """Shares of the diagram's answers for a car with this fault; with one coil for all plugs none is silent alone."""
    only = DIAGRAMS[circuit.kind][probe]
    if only:
        return {name: float(name == only) for name in NOT_SHOWN}
    if probe == "ballast":
        there = float(any(change.name == "ballast" for change in mechanism.changes))
        return {"found": there, "absent": 1 - there, "unknown": 0.0}
    if probe == "driver-command":
        commanded = 1.0 if "command-missing" in mechanism.flags else 0.5
        return {"found": commanded, "absent": 1 - commanded, "unknown": 0.0}
    if at_one_coil(mechanism) and mechanism.fault != "lead-or-plug":
        return {"coil-per-plug": 0.5, "waste-spark": 0.5, "distributor": 0.0}
    return {"coil-per-plug": 1 / 3, "waste-spark": 1 / 3, "distributor": 1 / 3}


@dataclass(frozen=True, eq=False)
class Drawn(Shown):
    """Share of the cars of each kind, by the name of the answer, each of shape ``(n,)``."""

    kinds: dict[str, Floats]

    def honest(self, outcomes: Sequence[str]) -> Floats:
        """The shares."""
        return columns(self.kinds, outcomes)

    def in_numbers(self) -> str:
        """A diagram has no number."""
        return "the model has cars of several kinds"


class Diagram(InstrumentModel):
    """The diagram."""

    outcomes = (*NOT_SHOWN, "found", "absent", "coil-per-plug", "waste-spark", "distributor")

    def check(self, circuit: Circuit, measure: Measurement) -> None:
        """For what the model knows of this kind of circuit."""
        if measure.probe not in DIAGRAMS[circuit.kind]:
            raise CircuitProblem(
                f"The circuit model has no diagram of '{measure.probe}' in the circuit '{circuit.name}'. "
                f"It has: {', '.join(DIAGRAMS[circuit.kind])}."
            )

    def look(self, case: Probing) -> Observed:
        """The kind of the car, as far as the fault tells it."""
        kinds = _kinds(case.circuit, case.mechanism, case.measure.probe)
        return Observed(Drawn({name: np.full(case.systems.count, share) for name, share in kinds.items()}))


MODELS = (Diagram("diagram"),)
