"""The ``reading`` of a step: a number that is asked for, and the bands that it falls into."""

from __future__ import annotations

import itertools
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.core.library.context import ANSWER_KEYS, TARGET_KEYS, range_of, target_of
from assistant.core.library.procedure import Answer, Band, Limit, Reading, Specified
from assistant.core.library.reader import Reader, known_of, mapping_of, number
from assistant.core.library.terms import FactKind
from assistant.core.library.tree import MapNode
from assistant.core.library.vocabulary import UNJUDGED
from assistant.errors import FileProblem

if TYPE_CHECKING:
    from assistant.core.library.context import Context
    from assistant.core.library.terms import Instrument

READING_KEYS = ("unit", "plausible", "subtract", "at_20_celsius", "bands", "unjudged")
BAND_KEYS = (*ANSWER_KEYS, "from", "below", "source", "seen")


def reading_of(step: str, node: MapNode, instrument: Instrument, context: Context) -> Reading:
    """The number that a step asks for, with its bands.

    Raises:
        FileProblem: The bands leave a gap, overlap, or do not hold every plausible number; or a name is not known.
    """
    item = Reader(node, context.path, f"'reading' of step '{step}'")
    item.only(READING_KEYS)
    unit = known_of(item.get_text("unit"), instrument.units, context.path, f"unit of a {instrument.spoken}")
    between = range_of(item)
    subtract = _number_fact(item, "subtract", unit, context)
    at_20 = _number_fact(item, "at_20_celsius", "celsius", context)
    band_nodes = mapping_of(item.get("bands"), context.path, f"'bands' of step '{step}'")
    bands = _bands(step, band_nodes, unit, context)
    _check_bands(bands, between, context.path)
    reading = Reading(unit, between, tuple(band for _, band in bands), subtract, at_20)
    return replace(reading, unjudged=_unjudged(step, item, reading, context))


def _bands(step: str, nodes: MapNode, unit: str, context: Context) -> list[tuple[int, Band]]:
    """The bands of a reading with their lines, lowest first."""
    bands = []
    for name, child in nodes.items.items():
        node = mapping_of(child, context.path, f"band '{name}'")
        band = Reader(node, context.path, f"band '{name}' of step '{step}'")
        band.only(BAND_KEYS)
        start, end = _limit(band, "from", unit, context), _limit(band, "below", unit, context)
        target = target_of(band, context)
        rules_out = band.names("rules_out", context.terms.faults, "fault", needed=False)
        made = Band(name, target, rules_out, start, end, band.text("source"), band.text("seen"))
        bands.append((node.line, made))
    if len(bands) < 2:
        raise FileProblem(
            context.path,
            nodes.line,
            f"step '{step}' has fewer than two bands",
            "Give it at least two ways to end",
        )
    return _in_order(bands)


def _check_bands(bands: list[tuple[int, Band]], between: tuple[Decimal, Decimal], path: str) -> None:
    """Bands follow each other without a gap, and hold every plausible number."""
    for (line, lower), (_, upper) in itertools.pairwise(bands):
        if lower.high is None or upper.low is None or lower.high != upper.low:
            raise FileProblem(
                path,
                line,
                f"bands '{lower.outcome}' and '{upper.outcome}' leave a gap or overlap",
                f"Let '{lower.outcome}' end below where '{upper.outcome}' starts",
            )
    low, high = between
    least, most = bands[0][1].low, bands[-1][1].high
    if least is not None and (isinstance(least, Specified) or least > low):
        raise FileProblem(
            path,
            bands[0][0],
            f"no band holds {low}, which is plausible",
            "Leave out 'from' in the lowest band",
        )
    if most is not None and (isinstance(most, Specified) or most <= high):
        raise FileProblem(
            path,
            bands[-1][0],
            f"no band holds {high}, which is plausible",
            "Leave out 'below' in the highest band",
        )


def _in_order(bands: list[tuple[int, Band]]) -> list[tuple[int, Band]]:
    """Bands by their lower limit; where one is a specification, each behind the one that ends where it begins."""
    rest = sorted(bands, key=lambda pair: _as_number(pair[1].low))
    if not any(isinstance(limit, Specified) for _, band in bands for limit in (band.low, band.high)):
        return rest
    ordered = [rest.pop(0)]
    while rest:
        place = next((at for at, (_, band) in enumerate(rest) if band.low == ordered[-1][1].high), 0)
        ordered.append(rest.pop(place))
    return ordered


def _as_number(limit: Limit | None) -> Decimal:
    """For sorting: nothing is lowest, a specification highest."""
    if limit is None:
        return Decimal("-Infinity")
    return Decimal("Infinity") if isinstance(limit, Specified) else limit


def _limit(band: Reader, key: str, unit: str, context: Context) -> Limit | None:
    """A limit of a band: a number, or the name of the maker's specification."""
    if key not in band.node.items:
        return None
    node = band.node.items[key]
    if not isinstance(node, MapNode):
        return number(band.get_text(key), context.path)
    given = Reader(node, context.path, f"'{key}' of {band.what}")
    given.only(("specification",))
    name = _number_fact(given, "specification", unit, context)
    if not context.terms.facts[name].specification:
        raise FileProblem(
            context.path,
            node.line,
            f"the fact '{name}' is not a specification of the vehicle maker",
            "Mark it 'specification: true' in the terms, or write a number",
        )
    return Specified(name)


def _number_fact(item: Reader, key: str, unit: str, context: Context) -> str:
    """Name of a fact that is a number in this unit; "" if the key is missing and may be."""
    if key not in item.node.items and key != "specification":
        return ""
    text = item.get_text(key)
    name = known_of(text, context.terms.facts, context.path, "fact")
    fact = context.terms.facts[name]
    if fact.kind is not FactKind.NUMBER or fact.unit != unit:
        found = (
            f"a number in {fact.unit or 'no unit'}"
            if fact.kind is FactKind.NUMBER
            else f"of the kind {fact.kind}"
        )
        raise FileProblem(
            context.path,
            text.line,
            f"the fact '{name}' is {found}",
            f"'{key}' of {item.what} needs a number in {unit}",
        )
    return name


def _unjudged(step: str, item: Reader, reading: Reading, context: Context) -> Answer | None:
    if bool(reading.specified()) != ("unjudged" in item.node.items):
        if reading.specified():
            problem = f"step '{step}' has a specification as a limit, and no 'unjudged'"
            remedy = "Add 'unjudged: {next: …}': where it goes when the specification was left blank"
        else:
            problem = f"step '{step}' has 'unjudged', and no limit of it is a specification"
            remedy = "Remove 'unjudged'"
        raise FileProblem(context.path, item.line("unjudged"), problem, remedy)
    if "unjudged" not in item.node.items:
        return None
    reader = Reader(item.mapping("unjudged"), context.path, f"'unjudged' of step '{step}'")
    reader.only(TARGET_KEYS)
    return Answer(UNJUDGED, target_of(reader, context))
