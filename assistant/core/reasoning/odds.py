"""How likely each fault is before any test, and what each test costs in minutes: ``odds.yaml`` of a folder.

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
from assistant.core.library.reader import Reader, number
from assistant.core.library.tree import Text, parse
from assistant.errors import MALFORMED, FileProblem

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.core.library.procedure import Measurement, Terms

ONCE = ("cranking", "module-access", "coil")
"""Preparation that is paid for once in a diagnosis: set-up for cranking, the module laid bare, the coil unplugged."""

_AT_THE_MODULE = frozenset({"driver-end", "driver-supply", "driver-ground", "crank-signal", "cam-signal"})
"""Points that are reached only when the module has been laid bare."""


def preparations(measure: Measurement) -> tuple[str, ...]:
    """What has to be prepared once for a measurement, by the names in `ONCE`."""
    needed = {
        "cranking": measure.engine in (Engine.CRANKING, Engine.RUNNING),
        "module-access": bool({measure.probe, measure.clip} & _AT_THE_MODULE)
        or "module" in measure.unplugged,
        "coil": "coil" in measure.unplugged,
    }
    return tuple(name for name in ONCE if needed[name])


LEAST = 0.000001
"""Least odds or minutes: smaller ones could vanish when they are multiplied."""

MOST = 1_000_000
"""Most odds, minutes or cars."""

EACH = ("crank", "caution")
"""What is paid for each time: cranking, with the starter's rest; and once for each caution that is acknowledged."""

FORMAT = "bay-assistant findings"
VERSION = 1

ANY_CIRCUIT = ""
"""Where cars are counted of which the circuit is not known: they count for every one."""


@dataclass(frozen=True)
class Findings:
    """What a shop found on its cars, as a session is given it.

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
        """As it stands in the session's copy of the procedures; indented, because people look into it.

        Only numbers: the record of one car, which may be handed over, does not name other customers' jobs.
        """
        cars = {name: dict(sorted(faults.items())) for name, faults in sorted(self.cars.items())}
        body = {"format": FORMAT, "version": VERSION, "cars": cars}
        return json.dumps(body, indent=1, allow_nan=False).encode() + b"\n"


def parse_findings(data: bytes, path: str, terms: Terms) -> Findings:
    """What `Findings.to_bytes` wrote.

    Raises:
        FileProblem: It is something else.
    """
    try:
        body = json.loads(data)
        if (body["format"], body["version"]) != (FORMAT, VERSION):
            raise ValueError(f"it says {body['format']!r}, version {body['version']!r}")
        cars = {
            str(circuit): {_known(fault, terms): _cars(count) for fault, count in faults.items()}
            for circuit, faults in body["cars"].items()
        }
    except MALFORMED as error:
        raise FileProblem(
            path,
            0,
            f"these are not the findings of a shop ({type(error).__name__}: {error})",
            "Take the session from a copy",
        ) from error
    return Findings(cars)


def _known(fault: str, terms: Terms) -> str:
    if fault not in terms.faults:
        raise ValueError(f"there is no fault '{fault}'")
    return fault


def _cars(count: object) -> float:
    if isinstance(count, bool) or not isinstance(count, int | float) or not 0 <= count <= MOST:
        raise ValueError(f"{count!r} is not a number of cars")
    return float(count)


def posterior_mean(
    shipped: Mapping[str, float], weight_cars: float, cars: Mapping[str, float]
) -> dict[str, float]:
    """The odds after counting: mean of the Dirichlet distribution that the counts lead to.

    Args:
        shipped: Fault to its share before counting; positive, sums to 1.
        weight_cars: How many cars the shipped shares are worth, above 0.
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
        source: Where they come from.
        prior: Fault of the catalogue to its share before any test, as shipped; positive, sums to 1.
        minutes: Instrument to the minutes of one test with it.
        once: Name of `ONCE` to the minutes of that preparation.
        weight_cars: How many cars the shipped odds are worth beside the shop's own; 0 where the file does not say,
            and then nothing is counted.
        weight_source: Where that number comes from.
        findings: What the shop found; empty where nothing is counted.
        each: Name of `EACH` to minutes: of each time that the engine is cranked, and of a caution that has to be
            acknowledged, once; empty where the file does not say.
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


def parse_odds(data: bytes, path: str, terms: Terms) -> Odds:
    """Prior odds and minutes from the bytes of ``odds.yaml``.

    Every fault of the terms has odds and every instrument minutes, so that nothing is weighed with nothing.

    Raises:
        FileProblem: It is wrong; the message starts with ``file:line:``.
    """
    top = Reader(parse(data, path), path, "the odds")
    top.only(("source", "prior", "minutes", "once", "each", "weight_cars", "weight_source"))
    prior = _numbers(top, "prior", terms.faults, "fault")
    total = sum(prior.values())
    return Odds(
        top.text("source"),
        {fault: odds / total for fault, odds in prior.items()},
        _numbers(top, "minutes", terms.instruments, "instrument"),
        _numbers(top, "once", ONCE, "preparation"),
        *_weight(top),  # none in the copies of sessions that were recorded before there was one
        each=_numbers(top, "each", EACH, "price") if "each" in top.node.items else {},
    )


def _weight(top: Reader) -> tuple[float, str]:
    """How many cars the shipped odds are worth, and the source of that; 0 and "" where the file does not say."""
    node = top.node.items.get("weight_cars")
    if node is None:
        return 0.0, ""
    weight = float(number(node, top.path)) if isinstance(node, Text) else 0.0
    if not LEAST <= weight <= MOST:
        line = top.node.key_lines["weight_cars"]
        raise FileProblem(
            top.path, line, "'weight_cars' is no number of cars", f"Write it as 20; at most {MOST}"
        )
    return weight, top.text("weight_source")


def _numbers(top: Reader, key: str, known: Iterable[str], kind: str) -> Mapping[str, float]:
    """A map with a positive number for each of the known names, in their order."""
    names = list(known)
    node = top.mapping(key)
    found: dict[str, float] = {}
    for name, child in node.items.items():
        line = node.key_lines[name]
        if name not in names:
            raise FileProblem(
                top.path, line, f"there is no {kind} '{name}'", f"Known are: {', '.join(names)}"
            )
        if not isinstance(child, Text):
            raise FileProblem(top.path, line, f"'{name}' in '{key}' is not a number", "Write it as 0.1")
        value = float(number(child, top.path))
        if not LEAST <= value <= MOST:
            raise FileProblem(
                top.path,
                line,
                f"'{name}' in '{key}' is {child.value}",
                f"A number above 0 is expected, from {LEAST:f} to {MOST}",
            )
        found[name] = value
    missing = [name for name in names if name not in found]
    if missing:
        raise FileProblem(
            top.path, node.line, f"'{key}' says nothing of '{missing[0]}'", f"Give every {kind} a number"
        )
    return {name: found[name] for name in names}  # a plain one, so that a library can go to another process
