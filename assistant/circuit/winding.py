"""The primary's current in closed form, and the dwell and spark of a sound car.

A winding on a constant voltage: ``i = V/R (1 - exp(-t R/L))``.
These formulas draw sound cars and give the maker's values; the effect of a fault is solved with the whole network.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Booleans = NDArray[np.bool_]

CHARGED_A = 6.5
"""Current that a control computer charges a coil to while cranking, in A.

Charging currents of inductive ignition are 6 to 8 A (from memory of a handbook of automotive electrics); chosen
within that.
"""
CHARGED_SHARE = 0.85
"""Share of a driver's low limit that the current reaches instead; chosen, so that the dwell ends before the limit."""
LONGEST_DWELL_S = 9e-3
"""A control computer's dwell while cranking ends here; chosen, not fitted."""

SOUND_J = 46e-3
"""Energy in J that a sound coil holds when the driver switches off: 1.3 times that of a spark that looks thin."""
SOUND_KV = 23.0
"""Secondary voltage in kV that a sound coil can make: 1.15 times that of the spark tester's gap."""


def loop(value: Mapping[str, Floats]) -> tuple[Floats, Floats]:
    """Voltage in V and resistance in ohm of the sound primary circuit while cranking, each of shape ``(n,)``.

    The starter's mean current is taken off, and other loads are not.
    """
    volt = (
        value["battery-voltage"]
        - value["battery-resistance"] * value["starter-current"]
        - value["driver-saturation"]
    )
    ohm = (
        value["primary-resistance"]
        + value["feed-resistance"]
        + value["control-wire-resistance"]
        + value["module-ground-resistance"]
        + value["driver-resistance"]
        + value["battery-resistance"]
    )
    return volt, ohm


def time_to_current(ampere: Floats, volt: Floats, ohm: Floats, henry: Floats) -> Floats:
    """Seconds from the switching on of a winding until its current reaches a value; infinite if it never does.

    ``t = -L/R ln(1 - I R/V)``.
    """
    rest = 1 - ampere * ohm / volt
    return np.where(rest > 0, -henry / ohm * np.log(np.where(rest > 0, rest, 1.0)), np.inf)


def peak_current(value: Mapping[str, Floats]) -> Floats:
    """Current in A of the sound coil when the driver switches off, shape ``(n,)``."""
    volt, ohm = loop(value)
    rising = volt / ohm * (1 - np.exp(-value["dwell"] * ohm / value["primary-inductance"]))
    return np.asarray(np.minimum(rising, value["current-limit"]))


def computed_dwell(value: Mapping[str, Floats]) -> Floats:
    """Dwell in s as a control computer sets it, shape ``(n,)``: what was drawn, or longer where that is too short.

    It lasts at least until the car's own current reaches `CHARGED_A`, or `CHARGED_SHARE` of a low limit.
    """
    wanted = np.minimum(CHARGED_A, CHARGED_SHARE * value["current-limit"])
    needed = time_to_current(wanted, *loop(value), value["primary-inductance"])
    return np.asarray(np.maximum(value["dwell"], np.minimum(needed, LONGEST_DWELL_S)))


def sparks_well(value: Mapping[str, Floats]) -> Booleans:
    """Whether the sound coil makes a good spark, shape ``(n,)``: energy 1/2 L I^2, and voltage.

    The secondary rises until its capacitance holds that energy, ``V = I sqrt(L/C)``, or the driver clamps.
    """
    joules = 0.5 * value["primary-inductance"] * peak_current(value) ** 2
    swing = np.sqrt(2 * joules / value["secondary-capacitance"])
    clamped = (value["clamp-voltage"] - value["battery-voltage"]) * value["turns-ratio"]
    return np.asarray((joules >= SOUND_J) & (np.minimum(swing, clamped) >= 1e3 * SOUND_KV))
