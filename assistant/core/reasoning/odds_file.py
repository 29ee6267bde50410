"""``odds.yaml``, which a person writes, and ``findings.json``, which the program keeps in a session."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from assistant.core.library.reader import Reader, number
from assistant.core.library.tree import TextNode, parse
from assistant.core.reasoning.odds import EACH, FORMAT, ONCE, VERSION, Findings, Odds
from assistant.errors import MALFORMED, FileProblem

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from assistant.core.library.terms import Terms

LEAST = 0.000001
"""Least odds or minutes: smaller ones could vanish when they are multiplied."""

MOST = 1_000_000
"""Most odds, minutes or cars."""


def parse_findings(data: bytes, path: str, terms: Terms) -> Findings:
    """Read back the bytes of `Findings.to_bytes`.

    Raises:
        FileProblem: They are something else.
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


def parse_odds(data: bytes, path: str, terms: Terms) -> Odds:
    """Prior odds and minutes from the bytes of ``odds.yaml``.

    Every fault of the terms must have odds, and every instrument minutes.

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
        _numbers(
            top,
            "minutes",
            terms.instruments,
            "instrument",
            {one.name: one.minutes for one in terms.instruments.values() if one.minutes},
        ),
        _numbers(top, "once", ONCE, "preparation"),
        *_weight(top),  # none in the copies of sessions that were recorded before there was one
        each=_numbers(top, "each", EACH, "price") if "each" in top.node.items else {},
    )


def _weight(top: Reader) -> tuple[float, str]:
    """The number of cars that the shipped odds are worth, and its source; 0 and "" if the file does not say."""
    node = top.node.items.get("weight_cars")
    if node is None:
        return 0.0, ""
    weight = float(number(node, top.path)) if isinstance(node, TextNode) else 0.0
    if not LEAST <= weight <= MOST:
        line = top.node.key_lines["weight_cars"]
        raise FileProblem(
            top.path, line, "'weight_cars' is not a number of cars", f"Write it as 20; at most {MOST}"
        )
    return weight, top.text("weight_source")


def _numbers(
    top: Reader, key: str, known: Iterable[str], kind: str, told: Mapping[str, float] | None = None
) -> Mapping[str, float]:
    """A map with a positive number for each of the known names, in their order; `told` holds those of the terms."""
    names = list(known)
    node = top.mapping(key)
    found = dict(told or {})
    for name, child in node.items.items():
        line = node.key_lines[name]
        if name not in names:
            raise FileProblem(
                top.path, line, f"there is no {kind} '{name}'", f"Known are: {', '.join(names)}"
            )
        if told and name in told:
            raise FileProblem(
                top.path, line, f"'{name}' has its {key} in the terms as well", "Leave one of them out"
            )
        if not isinstance(child, TextNode):
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
            top.path, node.line, f"'{key}' does not mention '{missing[0]}'", f"Give every {kind} a number"
        )
    return {name: found[name] for name in names}  # a plain one, so that a library can go to another process
