"""A light with a light-emitting diode in the coil's place: it follows every pulse of the driver."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.instruments.model import InstrumentModel, Probing
from assistant.circuit.lamps import brightness_of, lamp_named
from assistant.circuit.observed import Observed, Shown, below, columns
from assistant.circuit.places import check_points
from assistant.circuit.remembered import once
from assistant.circuit.situations import Situation, portions
from assistant.circuit.solving import steady
from assistant.circuit.turning import turn

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from assistant.circuit.catalogue import Circuit
    from assistant.circuit.parameters import Systems
    from assistant.core.library.procedure import Measurement

    Floats = NDArray[np.float64]

FLASH = 0.2
"""Light of a light-emitting diode that is seen, against its light at 10 mA; chosen: in a bay, not in the sun."""
FLASH_SPREAD = 0.3

DIODE = lamp_named("led")


@dataclass(frozen=True, eq=False)
class Flashes(Shown):
    """Shares of the words for the light, by name, each of shape ``(n,)``."""

    shares: dict[str, Floats]

    def honest(self, outcomes: Sequence[str]) -> Floats:
        """The shares; any light is called "lit" if "blinking" is not offered."""
        known = dict(self.shares)
        if "blinking" not in outcomes and "lit" in outcomes:
            known["lit"] = known["steady"] + known["blinking"]
        return columns(known, outcomes)

    def in_numbers(self) -> str:
        """A light has no number."""
        return "the light gives no number"


@once
def _flashes(systems: Systems, situation: Situation, across: tuple[str, str]) -> dict[str, Floats]:
    """Shares of the words for the diode, for every mechanism of the situation."""
    engine, unplugged = situation.engine, situation.unplugged
    parts: list[tuple[Floats, Floats]] = []
    for rows in portions(systems, situation):
        if situation.turning:
            light = turn(rows, engine, unplugged, across, DIODE).light
            assert light is not None  # noqa: S101 - a diode gives light
            parts.append((light.max(axis=1), light.min(axis=1)))
        else:
            still = brightness_of(DIODE, steady(rows, engine, unplugged, across, DIODE)[0])
            parts.append((still, still))
    most, least = (np.concatenate([part[number] for part in parts]) for number in (0, 1))
    dark = below(most, FLASH, FLASH_SPREAD)
    calm = (1 - dark) * (1 - below(least, 0.5 * most, FLASH_SPREAD))
    return {"dark": dark, "steady": calm, "blinking": 1 - dark - calm}


class LedLight(InstrumentModel):
    """The light on two points of the circuit."""

    outcomes = ("dark", "steady", "blinking")
    probes = True
    missed = "dark"

    def check(self, circuit: Circuit, measure: Measurement) -> None:
        """On two points of the circuit, none of which carries a logic signal."""
        check_points(circuit, measure)

    def look(self, case: Probing) -> Observed:
        """Shares of the outcomes."""
        flashes = _flashes(case.systems, case.situation, case.across)
        return Observed(Flashes({name: shares[case.rows] for name, shares in flashes.items()}))

    def nothing(self, count: int) -> Observed:
        """A dark light."""
        none = np.zeros(count)
        return Observed(Flashes({"dark": np.ones(count), "steady": none, "blinking": none}))


MODELS = (LedLight("led-light"),)
