"""How likely each fault is before any test, and what each test costs in minutes: ``odds.yaml`` of a folder.

Both are judgement, and the file says so.
The proof weighs the order of tests with them, a session its evidence.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core.loading import ODDS_FILE, Reader, number
from assistant.core.procedure import Engine
from assistant.core.tree import Text, parse
from assistant.errors import FileProblem, UsageProblem

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from assistant.core.procedure import Measurement, Terms

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


@dataclass(frozen=True)
class Odds:
    """Prior odds and minutes.

    Attributes:
        source: Where they come from.
        prior: Fault of the catalogue to its share before any test; positive, sums to 1.
        minutes: Instrument to the minutes of one test with it.
        once: Name of `ONCE` to the minutes of that preparation.
    """

    source: str
    prior: Mapping[str, float]
    minutes: Mapping[str, float]
    once: Mapping[str, float]


def load_odds(directory: Path, terms: Terms) -> Odds:
    """Read ``odds.yaml`` of a folder of procedures.

    Raises:
        UsageProblem: There is no such file, or it cannot be read.
        FileProblem: It is wrong; the message starts with ``file:line:``.
    """
    path = directory / ODDS_FILE
    try:
        data = path.read_bytes()
    except OSError as error:
        raise UsageProblem(
            f"Odds of faults and minutes of tests need the file {path}, but it cannot be read ({error.strerror})."
        ) from error
    return parse_odds(data, path, terms)


def parse_odds(data: bytes, path: Path, terms: Terms) -> Odds:
    """The same from the bytes of the file.

    Every fault of the terms has odds and every instrument minutes, so that nothing is weighed with nothing.

    Raises:
        FileProblem: It is wrong; the message starts with ``file:line:``.
    """
    top = Reader(parse(data, path), path, "the odds")
    top.only(("source", "prior", "minutes", "once"))
    prior = _numbers(top, "prior", terms.faults, "fault")
    total = sum(prior.values())
    return Odds(
        top.text("source"),
        {fault: odds / total for fault, odds in prior.items()},
        _numbers(top, "minutes", terms.instruments, "instrument"),
        _numbers(top, "once", ONCE, "preparation"),
    )


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
        if value <= 0:
            raise FileProblem(
                top.path, line, f"'{name}' in '{key}' is {child.value}", "A number above 0 is expected"
            )
        found[name] = value
    missing = [name for name in names if name not in found]
    if missing:
        raise FileProblem(
            top.path, node.line, f"'{key}' says nothing of '{missing[0]}'", f"Give every {kind} a number"
        )
    return {name: found[name] for name in names}  # a plain one, so that a library can go to another process
