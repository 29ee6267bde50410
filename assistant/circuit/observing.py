"""Observing a circuit with a fault through an instrument.

`observe` turns a measurement of a procedure into numbers; nothing else about a step is needed.
`answers.answer_shares` turns those numbers into shares of the answers that the step has.
Each instrument has its own file in `instruments`.

All mechanisms of a circuit are computed together the first time that one is asked for, and kept as long as the
systems are.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assistant.circuit import eye, makers, readings
from assistant.circuit.catalogue import ALL, CIRCUITS, Circuit, Mechanism, circuit_named
from assistant.circuit.instruments import REGISTRY, lamp as lamp_model, ramp, spark_tester
from assistant.circuit.instruments.model import Probing
from assistant.circuit.lamps import LAMPS, TEST_LAMP, lamp_named
from assistant.circuit.parameters import PARAMETERS, Systems, fingerprint
from assistant.circuit.places import PARTS
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.situations import Situation, place_of

if TYPE_CHECKING:
    from assistant.circuit.observed import Observed
    from assistant.core.library.procedure import Measurement

VERSION = fingerprint(
    PARAMETERS,
    LAMPS,
    [(entry.fault, entry.name, entry.changes, sorted(entry.flags)) for entry in ALL],
    CIRCUITS,
    (eye.DARK, eye.DIM, eye.STEADY_INDEX, eye.LIKE_FEED, eye.DISTINCT),
    (
        lamp_model.DARK_SPREAD,
        lamp_model.DIM_SPREAD,
        lamp_model.STEADY_SPREAD,
        readings.ERRORS,
        readings.CONTACT_OHM,
    ),
    (
        spark_tester.GAP_KV,
        spark_tester.THIN_J,
        spark_tester.GAP_SPREAD,
        spark_tester.THIN_SPREAD,
        ramp.NO_CURRENT_A,
        ramp.AT_ONCE_S,
        ramp.FLAT_S,
        ramp.RAMP_SPREAD,
        spark_tester.INSIDE_V,
    ),
    (makers.RESISTANCE_TOLERANCE, makers.CURRENT_TOLERANCE, makers.TIME_TOLERANCE, makers.DEFAULT_TIME_S),
    "solving 4",
    *((name, model.figures) for name, model in REGISTRY.items() if model.figures),
)
"""Changes with parameters, lamps, faults, circuits and classes, and keys the caches.

"solving 4" is counted up by hand when the solving itself changes its results.
"""


def observe(
    circuit: str, mechanism: Mechanism, measure: Measurement, systems: Systems, lamp: str = TEST_LAMP
) -> Observed:
    """Observe each system with this fault through a measurement.

    Args:
        circuit: Name of a circuit.
        mechanism: The mechanism of the fault; any of the catalogue that the circuit can have.
        measure: The measurement, as a procedure states it.
        systems: The cars.
        lamp: The lamp in the test lamp's place; the heavy lamp is always the 1156.

    Raises:
        CircuitProblem: The circuit cannot have this measurement, mechanism or lamp.
    """
    known = circuit_named(circuit)
    measure = measure.usual()
    check(known, measure)
    found = unchecked(known, mechanism, measure, systems, lamp)
    return found if found.value is None else replace(found, facts=makers.known(known, systems))


def unchecked(
    circuit: Circuit, mechanism: Mechanism, measure: Measurement, systems: Systems, lamp: str = TEST_LAMP
) -> Observed:
    """`observe` for a measurement that the circuit is known to have, without what the person knows of the cars.

    Raises:
        CircuitProblem: The circuit cannot have this mechanism, or there is no such lamp.
    """
    chosen = lamp_named(lamp)
    model = REGISTRY[measure.instrument]
    if "terminals-swapped" in mechanism.flags and not model.on_bare_pins(measure):
        measure = _swapped(measure)
    company, number = place_of(circuit, mechanism)
    situation = Situation(circuit.name, company, measure.engine, tuple(sorted(measure.unplugged)))
    rows = slice(number * systems.count, (number + 1) * systems.count)
    return model.look(Probing(circuit, mechanism, measure, systems, chosen, situation, rows))


def _swapped(measure: Measurement) -> Measurement:
    """The measurement that is really made if the two wires in the coil's plug are swapped."""
    other = {"feed": "switched", "switched": "feed"}
    return replace(
        measure,
        clip=other.get(measure.clip or "", measure.clip),
        probe=other.get(measure.probe, measure.probe),
        compared_with=other.get(measure.compared_with or "", measure.compared_with),
    )


def check(circuit: Circuit, measure: Measurement) -> None:
    """Refuse a measurement that the circuit cannot have.

    Args:
        circuit: The circuit.
        measure: The measurement, by the names of a coil's circuit (`Measurement.usual`).

    Raises:
        CircuitProblem: What is wrong, and what would be right.
    """
    if measure.instrument not in REGISTRY:
        raise CircuitProblem(
            f"The circuit model has no instrument '{measure.instrument}'. Known are: {', '.join(REGISTRY)}."
        )
    for part in measure.unplugged:
        if part not in PARTS:
            raise CircuitProblem(
                f"'{part}' cannot be unplugged in the circuit model, only {' and '.join(PARTS)}."
            )
    REGISTRY[measure.instrument].check(circuit, measure)
