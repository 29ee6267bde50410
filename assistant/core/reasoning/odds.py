"""Prior odds of faults before any test, and the minutes that each test costs.

Both are judgement, and the file says so.
The proof weighs the order of tests with them, a session its evidence.

The shop's own findings adjust the odds
---------------------------------------
The shipped odds are taken for what a number of cars has shown, ``weight_cars``, and the cars whose fault the shop
found are counted beside them.
That is a Dirichlet prior with the parameters ``weight_cars * shipped``, and the odds used are its posterior mean
(Gelman and others, "Bayesian Data Analysis", 3rd edition 2013, section 3.4)::

    used = (weight_cars * shipped + cars) / (weight_cars + all cars)

With as many cars as faults and even odds it is Laplace's rule of succession, (cars + 1) / (all cars + faults).
No fault's odds ever become zero, because its shipped odds are above zero.
Cars are counted by the circuit that they were tested on, so that one kind of ignition does not speak for another.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.core.library.procedure import Engine

if TYPE_CHECKING:
    from assistant.core.library.procedure import Measurement

ONCE = ("cranking", "module-access", "coil")
"""Preparations that cost their minutes once in a diagnosis: set-up for cranking, access to the module, unplugging the
coil."""

_AT_THE_MODULE = frozenset({"driver-end", "driver-supply", "driver-ground", "crank-signal", "cam-signal"})
"""Points that can be reached only after access to the module was made."""


def preparations(measure: Measurement) -> tuple[str, ...]:
    """Preparations that a measurement needs, by their names in `ONCE`."""
    needed = {
        "cranking": measure.engine in (Engine.CRANKING, Engine.RUNNING),
        "module-access": bool({measure.probe, measure.clip} & _AT_THE_MODULE)
        or "module" in measure.unplugged,
        "coil": "coil" in measure.unplugged,
    }
    return tuple(name for name in ONCE if needed[name])


EACH = ("crank", "caution")
"""Costs that recur: each crank, with the starter's rest; and each caution that is acknowledged."""

FORMAT = "bay-assistant findings"
VERSION = 1

ANY_CIRCUIT = ""
"""Circuit of cars whose circuit is not known: they count for every circuit."""


@dataclass(frozen=True)
class Findings:
    """Faults that a shop found on its cars, as handed to a session.

    Attributes:
        cars: Circuit, or `ANY_CIRCUIT`, to fault to the number of cars on which it was found; a car with two
            faults is half a car for each.
    """

    cars: Mapping[str, Mapping[str, float]] = field(default_factory=dict)

    def on(self, circuit: str) -> dict[str, float]:
        """Fault to the number of cars that count for a circuit."""
        found: dict[str, float] = {}
        for name in dict.fromkeys((circuit, ANY_CIRCUIT)):
            for fault, cars in self.cars.get(name, {}).items():
                found[fault] = found.get(fault, 0.0) + cars
        return found

    def to_bytes(self) -> bytes:
        """The file in the session's copy of the procedures; indented, because people read it.

        It holds only numbers: the record of one car may be handed over and must not name other customers' jobs.
        """
        cars = {name: dict(sorted(faults.items())) for name, faults in sorted(self.cars.items())}
        body = {"format": FORMAT, "version": VERSION, "cars": cars}
        return json.dumps(body, indent=1, allow_nan=False).encode() + b"\n"


def posterior_mean(
    shipped: Mapping[str, float], weight_cars: float, cars: Mapping[str, float]
) -> dict[str, float]:
    """The odds after counting: mean of the Dirichlet distribution that the counts lead to.

    Args:
        shipped: Fault to its share before counting; positive, sums to 1.
        weight_cars: Number of cars that the shipped shares are worth, above 0.
        cars: Fault to the cars on which it was found; other faults than the shipped ones do not count.

    Returns:
        Fault to its share; positive, sums to 1.
    """
    whole = weight_cars + math.fsum(cars.get(fault, 0.0) for fault in shipped)
    return {fault: (weight_cars * share + cars.get(fault, 0.0)) / whole for fault, share in shipped.items()}


@dataclass(frozen=True)
class Odds:
    """Prior odds and minutes.

    Attributes:
        source: The judgement or data that they come from.
        prior: Fault of the catalogue to its share before any test, as shipped; positive, sums to 1.
        minutes: Instrument to the minutes of one test with it.
        once: Name of `ONCE` to the minutes of that preparation.
        weight_cars: Number of cars that the shipped odds are worth beside the shop's own; 0 if the file does not say,
            and then nothing is counted.
        weight_source: The reasoning behind that number.
        findings: The shop's findings; empty if nothing is counted.
        each: Name of `EACH` to minutes: of each time that the engine is cranked, and of a caution that has to be
            acknowledged, once; empty if the file does not say.
    """

    source: str
    prior: Mapping[str, float]
    minutes: Mapping[str, float]
    once: Mapping[str, float]
    weight_cars: float = 0.0
    weight_source: str = ""
    findings: Findings = field(default_factory=Findings)
    each: Mapping[str, float] = field(default_factory=dict)

    def price(self, measure: Measurement) -> float:
        """Minutes of one test, each crank with its rest included, without its preparation and its cautions."""
        cranks = measure.engine is Engine.CRANKING
        return self.minutes[measure.instrument] + (self.each.get("crank", 0.0) if cranks else 0.0)

    def used(self, circuit: str) -> Mapping[str, float]:
        """The odds before any test on a circuit, with the shop's findings counted in; positive, sum to 1."""
        cars = self.findings.on(circuit) if self.weight_cars else {}
        return posterior_mean(self.prior, self.weight_cars, cars) if cars else self.prior
