"""A voltmeter on AC, for a crank sensor that makes its own voltage; the circuit model has no such sensor."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.circuit.instruments.model import InstrumentModel, Probing
from assistant.circuit.problems import CircuitProblem

if TYPE_CHECKING:
    from assistant.circuit.catalogue import Circuit
    from assistant.circuit.observed import Observed
    from assistant.core.library.procedure import Measurement


class AlternatingMeter(InstrumentModel):
    """A meter that no modelled circuit has a place for."""

    quantity = "V"
    probes = True

    def check(self, circuit: Circuit, measure: Measurement) -> None:
        """Refuse every place: only sensors make AC, and they are not modelled."""
        raise CircuitProblem(
            f"The circuit '{circuit.name}' has no sensor, and only there a meter on AC shows something, not on "
            f"'{measure.probe}'."
        )

    def look(self, case: Probing) -> Observed:
        """Nothing to see; `check` refuses the measurement before.

        Raises:
            CircuitProblem: Always.
        """
        raise CircuitProblem(f"The circuit '{case.circuit.name}' has no sensor.")


MODELS = (AlternatingMeter("ac-voltmeter"),)
