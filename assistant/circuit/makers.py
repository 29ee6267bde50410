"""Facts that a technician can give of a random car: the maker's values, the meter's leads, the copper's temperature.

A maker states a nominal value with a tolerance, and a sound car lies somewhere within it.
So each car of the model gets the nominal value that it would have been built to, with limits around that.
The tolerances are chosen, not fitted; nobody consulted a maker's information.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.problems import CircuitProblem
from assistant.circuit.winding import loop, peak_current, time_to_current
from assistant.core.library.procedure import COPPER_PER_KELVIN

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.circuit.catalogue import Circuit
    from assistant.circuit.parameters import Systems

    Floats = NDArray[np.float64]

RESISTANCE_TOLERANCE = 0.15
CURRENT_TOLERANCE = 0.25
TIME_TOLERANCE = 0.35
"""Half the width of the range that a maker allows, as a share of the nominal value; chosen, not fitted."""

DEFAULT_TIME_S = 10e-3
"""Time stated for a sound car whose current does not reach the driver's limit, so that there is none to state."""


def warmer(systems: Systems) -> Floats:
    """Resistance of each car's copper relative to that at 20 degrees Celsius (IEC 60028)."""
    return np.asarray(1 + float(COPPER_PER_KELVIN) * (systems.values["coil-temperature"] - 20))


def known(circuit: Circuit, systems: Systems) -> dict[str, Floats]:
    """Every fact that a technician could give of each car, each with shape ``(n,)``, in V, A, ohm, s and Celsius.

    Specifications are those of the sound car; a fault does not change them.
    """
    value = systems.values
    at_20 = (value["load-resistance"] if circuit.kind == "load" else value["primary-resistance"]) / warmer(
        systems
    )
    nominal = at_20 / (1 + value["resistance-deviation"])
    volt, ohm = loop(value)
    henry = value["primary-inductance"]
    peak = peak_current(value) / (1 + value["current-deviation"])
    time = time_to_current(value["current-limit"], volt, ohm, henry) / (1 + value["time-deviation"])
    time = np.where(np.isfinite(time), time, DEFAULT_TIME_S)
    load = "load" if circuit.kind == "load" else "primary"
    return {
        "lead-resistance": value["lead-resistance"],
        "coil-temperature": value["coil-temperature"],
        "air-temperature": value["coil-temperature"],
        f"{load}-resistance-lowest": nominal * (1 - RESISTANCE_TOLERANCE),
        f"{load}-resistance-highest": nominal * (1 + RESISTANCE_TOLERANCE),
        "primary-current-lowest": peak * (1 - CURRENT_TOLERANCE),
        "primary-current-highest": peak * (1 + CURRENT_TOLERANCE),
        "time-to-limit-lowest": time * (1 - TIME_TOLERANCE),
        "time-to-limit-highest": time * (1 + TIME_TOLERANCE),
        "feed-drop-highest": value["feed-drop-limit"],
    }


def fact(facts: dict[str, Floats] | None, name: str) -> Floats:
    """One fact of each car.

    Raises:
        CircuitProblem: The model has no such fact.
    """
    if not facts or name not in facts:
        have = ", ".join(facts or {}) or "none"
        raise CircuitProblem(f"The circuit model has no value for '{name}'. It has: {have}.")
    return facts[name]
