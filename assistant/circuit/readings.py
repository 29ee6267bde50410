"""A meter's reading: its error, and the share of readings that falls into each band of a step.

A reading is the meter's number, its leads included, and is judged like in a session: with leads and temperature
as the person gave them, and limits from the car's maker.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit import makers
from assistant.circuit.problems import CircuitProblem
from assistant.core.library.procedure import COPPER_PER_KELVIN, Limit, Reading, Specified

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.circuit.observed import Observed

    Floats = NDArray[np.float64]

ERRORS = {"V": (0.01, 0.005), "A": (0.15, 0.03), "ohm": (0.08, 0.01), "s": (0.1e-3, 0.03)}
"""Standard error of a reading: a fixed part (of the ohmmeter: leads and contacts, after they were subtracted) and
a share of the value; chosen, not fitted."""
CONTACT_OHM = 0.03
"""The fixed part for an ohmmeter whose leads were measured and are subtracted: contacts remain; chosen."""
UNITS = {
    "ms": ("s", 1e-3),
    "mV": ("V", 1e-3),
    "V": ("V", 1.0),
    "A": ("A", 1.0),
    "ohm": ("ohm", 1.0),
    "kilohm": ("ohm", 1e3),
    "megohm": ("ohm", 1e6),
}
"""Unit of a step to the base unit of `ERRORS` and its size in that."""


def reading_shares(observed: Observed, reading: Reading, *, blank: bool = False) -> Floats:
    """Shares in which a reading falls into each band, with the meter's error.

    Args:
        observed: The look of the instrument.
        reading: The reading that a step asks for.
        blank: The person leaves every value of the maker blank.

    Returns:
        Shape ``(n, bands)``, with one column more if the reading may stay unjudged; rows sum to 1.  A reading
        beyond the plausible range counts to the nearest band.

    Raises:
        CircuitProblem: The instrument shows no number, the unit is not known, or the model has no value for a fact.
    """
    if observed.value is None:
        raise CircuitProblem("This instrument shows no number, and the step asks for a reading.")
    if reading.unit not in UNITS:
        raise CircuitProblem(f"The circuit model does not know the unit '{reading.unit}'.")
    kind, size = UNITS[reading.unit]
    fixed, share = ERRORS[kind]
    if reading.subtract:
        # The subtracted part was in the reading before, so only the error of the contacts remains.
        makers.fact(observed.facts, reading.subtract)
        fixed = CONTACT_OHM
    over = np.isinf(observed.value)
    value = np.where(over, 1e12, observed.value)
    error = fixed + share * np.abs(value)
    if reading.at_20_celsius:
        warmer = 1 + float(COPPER_PER_KELVIN) * (makers.fact(observed.facts, reading.at_20_celsius) - 20)
        value, error = value / warmer, error / warmer
    last = len(reading.bands) - 1
    parts = []
    for number, band in enumerate(reading.bands):
        low = _limit(None if number == 0 else band.low, -np.inf, size, observed, blank=blank)
        high = _limit(None if number == last else band.high, np.inf, size, observed, blank=blank)
        if low is None or high is None:
            parts.append(np.zeros_like(value))
            continue
        part = _normal((high - value) / error) - _normal((low - value) / error)
        parts.append(np.where(over, float(number == last), part))
    if reading.unjudged is not None:
        parts.append(np.clip(1 - sum(parts), 0.0, 1.0))
    return np.stack(parts, axis=1)


def _limit(
    limit: Limit | None, none: float, size: float, observed: Observed, *, blank: bool
) -> Floats | float | None:
    """A limit in the base unit; None if it is the maker's and was left blank."""
    if limit is None:
        return none
    if isinstance(limit, Specified):
        return None if blank else makers.fact(observed.facts, limit.fact)
    return float(limit) * size


def _normal(distance: Floats) -> Floats:
    """The normal distribution, by Abramowitz and Stegun 7.1.26 (error below 1.5e-7)."""
    size = np.minimum(np.abs(distance) / np.sqrt(2), 10.0)
    t = 1 / (1 + 0.3275911 * size)
    poly = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    error = 1 - poly * np.exp(-size * size)
    return np.asarray(0.5 * (1 + np.sign(distance) * error))
