"""A current clamp around a cable, with or without a peak hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.beginning import battery_of
from assistant.circuit.instruments.model import InstrumentModel, Probing
from assistant.circuit.instruments.ramp import unloaded
from assistant.circuit.lamps import HEAVY_LAMP, NO_OBSERVER, filament, lamp_named
from assistant.circuit.network import GROUND, feed_ohm, reduce
from assistant.circuit.observed import Observed
from assistant.circuit.places import CABLES
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.remembered import once
from assistant.circuit.situations import Situation, portions
from assistant.circuit.solving import settled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.circuit.catalogue import Circuit
    from assistant.circuit.parameters import Systems
    from assistant.core.library.procedure import Measurement

    Floats = NDArray[np.float64]

SLOW_CLAMP_S = 0.1
"""A clamp without a peak hold shows the mean over this time; from memory of ordinary meters."""
PEAK_CLAMP_S = 1e-3
"""A clamp with a peak hold catches a peak of this length; chosen, as the procedures ask for it."""
LAMP_LEAD_OHM = 0.1
"""Of the heavy lamp's lead; chosen."""

_POSTS = ("battery-positive", GROUND)


def _standing(systems: Systems, situation: Situation) -> Floats:
    """Current of the feed cable in A while the engine stands, for every mechanism of the situation."""
    engine, unplugged = situation.engine, situation.unplugged
    parts = []
    for unsettled in portions(systems, situation):
        rows = settled(unsettled, engine, unplugged, _POSTS, NO_OBSERVER)
        ports = reduce(rows, engine, unplugged, {"lamp": _POSTS, "wire": ("fuse-load", "feed")}, steady=True)
        emf, starter = battery_of(rows, engine)
        drop = ports.gain["wire"]["battery"] * emf + ports.gain["wire"]["starter"] * starter
        parts.append(np.abs(drop) / feed_ohm(rows, engine))
    return np.concatenate(parts)


@once
def _feed_current(systems: Systems, situation: Situation) -> tuple[Floats, Floats]:
    """Peak and mean current of the feed cable in A, for every mechanism of the situation."""
    if not situation.turning:
        current = _standing(systems, situation)
        return current, current
    waves = unloaded(systems, situation)
    return np.concatenate([one.peak_a for one in waves]), np.concatenate([one.mean_a for one in waves])


INRUSH_STEP_S = PEAK_CLAMP_S / 20
"""Step of the inrush of the heavy lamp."""


@once
def inrush_curve(systems: Systems) -> Floats:
    """Current in A if someone taps the heavy lamp on the battery, every `INRUSH_STEP_S`, shape ``(t, n)``.

    A cold filament draws most. The filament is stepped as in the rest of the model.
    """
    tables = filament(lamp_named(HEAVY_LAMP))
    volt = systems.values["battery-voltage"] + systems.values["polarisation"]
    kelvin = np.full(systems.count, 300.0)
    drawn = []
    for _ in range(round(SLOW_CLAMP_S / INRUSH_STEP_S)):
        conductance = np.interp(kelvin, tables.kelvin, tables.conductance)
        ampere = volt * conductance / (1 + LAMP_LEAD_OHM * conductance)
        place = tables.place(kelvin)
        power = ampere**2 / conductance
        kelvin = np.clip(
            kelvin + INRUSH_STEP_S * (power - tables.loss[place]) * tables.heat[place],
            300.0,
            tables.kelvin[-1],
        )
        drawn.append(ampere)
    return np.stack(drawn)


def lamp_inrush(systems: Systems) -> tuple[Floats, Floats]:
    """Readings of a quick and a slow clamp of that current.

    The greatest mean over `PEAK_CLAMP_S` and over `SLOW_CLAMP_S`, in A, each of shape ``(n,)``.
    """
    whole = inrush_curve(systems)
    return whole[: round(PEAK_CLAMP_S / INRUSH_STEP_S)].mean(axis=0), whole.mean(axis=0)


class CurrentClamp(InstrumentModel):
    """The clamp around the coil's feed cable, the starter's cable or the lead of the heavy lamp."""

    quantity = "A"

    def check(self, circuit: Circuit, measure: Measurement) -> None:
        """Around a cable that carries a current."""
        del circuit
        if measure.probe not in CABLES:
            raise CircuitProblem(
                f"A current clamp closes around a cable ({', '.join(CABLES)}), and '{measure.probe}' is none."
            )
        if measure.probe == "feed-wire" and "coil" in measure.unplugged:
            raise CircuitProblem("The coil is unplugged, so its feed cable carries no current to measure.")

    def look(self, case: Probing) -> Observed:
        """The peak current in A, and the mean where a clamp without a peak hold shows another number."""
        situation, systems = case.situation, case.systems
        if case.measure.probe == "starter-cable":
            drawn = [battery_of(rows, situation.engine)[1] for rows in portions(systems, situation)]
            return Observed(value=np.concatenate(drawn)[case.rows])
        if case.measure.probe == "heavy-lamp-lead":
            quick, averaged = lamp_inrush(systems)
            return Observed(value=quick, mean=averaged)
        peak, mean = _feed_current(systems, situation)
        return Observed(value=peak[case.rows], mean=mean[case.rows])


MODELS = (CurrentClamp("current-clamp"),)
