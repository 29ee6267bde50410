"""Parameters of the circuit model, with ranges and sources, and sets of systems drawn from them.

None of these values was fitted to a bench or a vehicle.
The ranges are those of common four-cylinder systems with 12 V; "chosen, not fitted" marks judgement.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.problems import CircuitProblem
from assistant.circuit.winding import computed_dwell, sparks_well

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

CHOSEN = "chosen, not fitted"
MEMORY = "from memory"

CRANKING_FLOOR_V = 9.8
"""A sound system keeps its posts at or above this while cranking, or its battery is weak.

9.6 V is the floor of the procedure (from memory after BCI); 0.2 V above it, so that a meter's error does not
turn a sound car into a weak one.  Systems below are drawn again.
"""

RESISTANCE_OPEN = 10e6
"""An open circuit, in ohm: damp dirt across the gap rather than nothing."""


@dataclass(frozen=True)
class Parameter:
    """One value of a system.

    Attributes:
        name: Name in code and figures.
        unit: SI unit, or a plain word.
        default: Value of the typical system.
        low: Lowest value of a random system.
        high: Highest value of a random system.
        source: Its source; "chosen, not fitted" if it is judgement.
        lowest: Lowest value that the model accepts.
        highest: Highest value that the model accepts.
    """

    name: str
    unit: str
    default: float
    low: float
    high: float
    source: str
    lowest: float = 0.0
    highest: float = float("inf")


PARAMETERS: dict[str, Parameter] = {
    entry.name: entry
    for entry in (
        Parameter(
            "battery-voltage", "V", 12.4, 11.6, 12.5, "behind its resistance, cranking; " + CHOSEN, 4, 16
        ),
        Parameter(
            "polarisation",
            "V",
            0.3,
            0.3,
            0.3,
            "what a load takes off at once; rest voltage is that much higher: 12.7 V typical; " + CHOSEN,
        ),
        Parameter("battery-resistance", "ohm", 8e-3, 4e-3, 12e-3, CHOSEN, 1e-4, 1),
        Parameter("starter-current", "A", 160, 120, 190, "mean while cranking; " + CHOSEN, 0, 1000),
        Parameter(
            "starter-swing",
            "A",
            60,
            50,
            70,
            "peak to valley while cranking, common practice, no source",
            0,
            500,
        ),
        Parameter("crank-speed", "1/min", 200, 150, 250, "typical cranking speed, " + MEMORY, 30, 2000),
        Parameter(
            "engine-ground-resistance",
            "ohm",
            0.5e-3,
            0.2e-3,
            0.8e-3,
            "0.2 V ground side at most; " + CHOSEN,
            1e-6,
        ),
        Parameter(
            "starter-cable-resistance",
            "ohm",
            1.2e-3,
            0.6e-3,
            1.8e-3,
            "post to starter, 0.5 V at most while cranking; " + CHOSEN,
            1e-6,
        ),
        Parameter("relay-winding", "ohm", 80, 60, 100, "winding of the ignition relay; " + CHOSEN, 1),
        Parameter("sensor-supply", "V", 5.0, 4.9, 5.1, "supply of the crank sensor, " + MEMORY, 1, 15),
        Parameter(
            "feed-resistance",
            "ohm",
            0.05,
            0.03,
            0.07,
            "wire, relay and fuse together: at most 0.5 V at the coil's own 7 A, the trade's rule, " + MEMORY,
            1e-4,
        ),
        Parameter(
            "control-wire-resistance", "ohm", 0.05, 0.03, 0.07, "some metres of AWG 18; " + CHOSEN, 1e-4
        ),
        Parameter(
            "module-ground-resistance",
            "ohm",
            0.01,
            0.005,
            0.014,
            "at most 0.1 V at 7 A, the trade's rule, " + MEMORY,
            1e-4,
        ),
        Parameter("driver-supply-resistance", "ohm", 0.10, 0.06, 0.14, CHOSEN, 1e-4),
        Parameter("module-load", "ohm", 80, 60, 120, "the module's own draw, about 0.15 A; " + CHOSEN, 1),
        Parameter("other-ignition-loads", "ohm", 8, 5, 20, "other loads of the ignition bus; " + CHOSEN, 0.5),
        Parameter("primary-resistance", "ohm", 0.5, 0.35, 0.8, "0.3 to 1.0 ohm, secondary source", 1e-4),
        Parameter("primary-inductance", "H", 3.5e-3, 2.5e-3, 6e-3, "2 to 8 mH, " + MEMORY, 1e-6, 10),
        Parameter("turns-ratio", "", 80, 70, 100, CHOSEN, 1, 1000),
        Parameter("secondary-capacitance", "F", 60e-12, 50e-12, 70e-12, CHOSEN, 1e-13),
        Parameter(
            "secondary-resistance", "ohm", 8e3, 6e3, 10e3, "8 to 15 kilohm, secondary source; " + CHOSEN, 1
        ),
        Parameter("breakdown-voltage", "V", 10e3, 6e3, 16e3, CHOSEN, 100),
        Parameter("burning-voltage", "V", 1.2e3, 0.8e3, 2.5e3, CHOSEN, 10),
        Parameter("holding-current", "A", 12e-3, 12e-3, 12e-3, "below it the spark ends; " + CHOSEN),
        Parameter(
            "driver-saturation", "V", 0.9, 0.9, 0.9, "with the next: at most 2 V at 6 A, IGBT data sheet 2016"
        ),
        Parameter("driver-resistance", "ohm", 0.06, 0.06, 0.06, CHOSEN, 1e-4),
        Parameter("current-limit", "A", 9.0, 7.5, 11.0, CHOSEN, 0.1, 100),
        Parameter(
            "clamp-voltage", "V", 380, 360, 400, "400 V class ignition transistors, public data sheets", 20
        ),
        Parameter(
            "protection-time",
            "s",
            1.5e-3,
            1.5e-3,
            1.5e-3,
            "cut-off if the limit comes within 1 ms; " + CHOSEN,
        ),
        Parameter("module-reset-voltage", "V", 6.5, 6.0, 7.0, "the module does nothing below; " + CHOSEN),
        Parameter(
            "dwell",
            "s",
            3.6e-3,
            2.5e-3,
            9e-3,
            "drawn, then at least what the coil needs (`winding.computed_dwell`); " + CHOSEN,
            1e-4,
            0.05,
        ),
        Parameter(
            "spark-delay",
            "degree",
            48,
            38,
            58,
            "crank angle from the peak of the starter's current to the spark; chosen so that the first "
            "implementation's index of control (21.5) comes out, 15 to 26 over all angles; not fitted to a car",
            -90,
            90,
        ),
        Parameter(
            "load-resistance", "ohm", 13, 11, 16, "ground-switched load, such as an injector; " + CHOSEN, 0.1
        ),
        Parameter("load-inductance", "H", 12e-3, 8e-3, 20e-3, "ground-switched load; " + CHOSEN, 1e-6, 10),
        Parameter(
            "load-clamp-voltage",
            "V",
            65,
            55,
            75,
            "clamp of a driver for injectors and solenoids; " + CHOSEN,
            20,
        ),
        Parameter("load-on-time", "s", 12e-3, 8e-3, 20e-3, "on-time while cranking; " + CHOSEN, 1e-4, 0.05),
        Parameter("lead-resistance", "ohm", 0.2, 0.05, 0.5, "leads of the ohmmeter; " + CHOSEN, 0, 5),
        Parameter("coil-temperature", "celsius", 20, -10, 60, CHOSEN, -50, 150),
        Parameter("resistance-deviation", "", 0, -0.07, 0.07, "of the car from nominal; " + CHOSEN, -0.5, 1),
        Parameter("current-deviation", "", 0, -0.1, 0.1, "of the car from nominal; " + CHOSEN, -0.5, 1),
        Parameter("time-deviation", "", 0, -0.15, 0.15, "of the car from nominal; " + CHOSEN, -0.5, 1),
        Parameter("severity", "", 0.5, 0, 1, "where a drawn fault lies within its range", 0, 1),
        Parameter(
            "module-at-block",
            "",
            0,
            0,
            1,
            "1 where the module's ground is at the engine block, 0 at the battery's post; a third of the cars; "
            + CHOSEN,
            0,
            1,
        ),
        Parameter("feed-drop-limit", "V", 0.5, 0.4, 0.6, "what a maker allows; 0.5 V " + MEMORY, 0, 5),
    )
}

KNOWN_TO_THE_PERSON = (
    "lead-resistance",
    "coil-temperature",
    "resistance-deviation",
    "current-deviation",
    "time-deviation",
    "feed-drop-limit",
    "severity",
)
"""Parameters that change only what a person knows of a car; they are drawn separately, so adding one changes no
car.
"""

BLOCK_SHARE = 1 / 3
"""Share of random cars whose module has its ground at the engine block; chosen, not fitted."""

DRAWN_APART = (*KNOWN_TO_THE_PERSON, "module-at-block")
"""Parameters with their own generators, so that a seed's other values stay the same."""


@dataclass(frozen=True, eq=False)
class Systems:
    """Some cars of one circuit.

    Attributes:
        values: Parameter name -> values, shape ``(n,)``.
    """

    values: Mapping[str, Floats]

    def __post_init__(self) -> None:
        """Refuse a set that the model cannot compute.

        Raises:
            CircuitProblem: A parameter is missing, unknown, out of range, or of another length.
        """
        for name in self.values:
            if name not in PARAMETERS:
                raise CircuitProblem(f"There is no parameter '{name}'. Known are: {', '.join(PARAMETERS)}.")
        for name, parameter in PARAMETERS.items():
            if name not in self.values:
                raise CircuitProblem(f"The parameter '{name}' is missing.")
            values = self.values[name]
            if values.shape != (self.count,):
                raise CircuitProblem(f"The parameter '{name}' has the wrong number of values.")
            if not bool(
                np.all((values >= parameter.lowest) & (values <= parameter.highest) & np.isfinite(values))
            ):
                worst = float(values[np.argmax(np.abs(values - parameter.default))])
                raise CircuitProblem(
                    f"The parameter '{name}' is {worst:g} {parameter.unit}, which is out of range. "
                    f"The model takes {parameter.lowest:g} to {parameter.highest:g} {parameter.unit}."
                )

    @property
    def count(self) -> int:
        """Number of systems."""
        return len(next(iter(self.values.values())))

    @staticmethod
    def typical(**changes: float) -> Systems:
        """The system with all defaults; keywords change some, with ``_`` for ``-`` in a name.

        Raises:
            CircuitProblem: A name is unknown or a value is out of range.
        """
        values = {name: np.array([parameter.default], dtype=float) for name, parameter in PARAMETERS.items()}
        for name, value in changes.items():
            values[name.replace("_", "-")] = np.array([value], dtype=float)
        return Systems(values)

    @staticmethod
    def random(count: int, seed: int) -> Systems:
        """Sound systems, uniform within the ranges; the same for the same seed.

        A system whose posts fall below `CRANKING_FLOOR_V` on average while cranking has a weak battery, which is
        a fault, and is drawn again; so is one whose coil makes no good spark (`winding.sparks_well`).
        Dwell is what a control computer makes of the car's own coil.

        Raises:
            CircuitProblem: Less than one system is wanted.
        """
        if count < 1:
            raise CircuitProblem(f"At least one system is needed, not {count}.")
        generator = np.random.default_rng(seed)
        kept: dict[str, list[Floats]] = {name: [] for name in PARAMETERS if name not in DRAWN_APART}
        have = 0
        while have < count:
            drawn = {
                name: generator.uniform(parameter.low, parameter.high, count)
                for name, parameter in PARAMETERS.items()
                if name not in DRAWN_APART
            }
            posts = drawn["battery-voltage"] - drawn["battery-resistance"] * (drawn["starter-current"] + 2.0)
            drawn["dwell"] = computed_dwell(drawn)
            good = (posts >= CRANKING_FLOOR_V) & sparks_well(drawn)
            have += int(good.sum())
            for name, values in drawn.items():
                kept[name].append(values[good])
        apart = np.random.default_rng((seed, 1))
        known = {
            name: apart.uniform(PARAMETERS[name].low, PARAMETERS[name].high, count)
            for name in KNOWN_TO_THE_PERSON
        }
        where = np.random.default_rng((seed, 2))
        known["module-at-block"] = (where.uniform(size=count) < BLOCK_SHARE).astype(float)
        return Systems({name: np.concatenate(parts)[:count] for name, parts in kept.items()} | known)

    def part(self, numbers: Iterable[int]) -> Systems:
        """Some of these systems, by number from 0."""
        wanted = np.fromiter(numbers, dtype=int)
        return Systems({name: values[wanted] for name, values in self.values.items()})


def fingerprint(*parts: object) -> str:
    """Twelve hexadecimal digits that change when one of these parts changes."""
    text = json.dumps([repr(part) for part in parts])
    return hashlib.sha256(text.encode()).hexdigest()[:12]
