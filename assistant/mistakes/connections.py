"""Mistakes in connections and in judging readings: limits, clips, probes, engine states, instruments.

No kind knows a particular procedure or step: each looks for the places where it fits.
"""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING

from assistant.core.library.vocabulary import SENSES
from assistant.mistakes.editing import (
    Edit,
    Keys,
    Mistake,
    ProcedureSource,
    Tree,
    answers_of,
    measured,
    steps_of,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

FACTORS = {"halved": Decimal("0.5"), "doubled": Decimal(2), "ten times": Decimal(10)}
"""Factors by which a limit moves."""

ENGINES = {"key-off": ("key-on",), "key-on": ("cranking", "key-off"), "cranking": ("key-on", "key-off")}
"""Engine states that a writer mixes up; only the check of a repair asks for a running engine."""

POSTS = {"battery-negative": "battery-positive", "battery-positive": "battery-negative"}

LAMPS = {"test-lamp": "heavy-lamp", "heavy-lamp": "test-lamp"}

NEIGHBOURS = {
    "feed": ("switched", "driver-supply"),
    "switched": ("feed", "driver-end"),
    "driver-end": ("switched", "driver-supply"),
    "driver-supply": ("feed", "driver-ground"),
    "driver-ground": ("engine-block", "driver-supply"),
    "engine-block": ("driver-ground",),
    "load-feed": ("load-switched",),
    "load-switched": ("load-feed", "driver-end"),
    "trigger": ("trigger-source", "feed"),
    "trigger-source": ("trigger",),
    "coil-ground": ("engine-block", "feed"),
}
"""Points that a writer or a probe mixes up: at the same plug, at the other end of the same wire, or with the
same purpose. A point that is missing here is mixed up with every other one that its procedure probes.
"""


# --- limits ---------------------------------------------------------------------------------------


def limits_moved(word: str) -> Callable[[ProcedureSource], Iterator[Mistake]]:
    """The border between two bands moves, in both of them."""

    def make(source: ProcedureSource) -> Iterator[Mistake]:
        for name, step in steps_of(source):
            for value, keys in _borders(name, step).items():
                moved = format(Decimal(value) * FACTORS[word], "f")
                if Decimal(moved) == Decimal(value):
                    continue
                yield Mistake(
                    f"limit {word}",
                    source.name,
                    f"steps/{name}",
                    f"the limit {value} becomes {moved}",
                    tuple(Edit(key, moved) for key in keys),
                )

    return make


def _borders(name: str, step: Tree) -> dict[str, list[Keys]]:
    """Each limit that is a number, with the keys of all its places in the step."""
    found: dict[str, list[Keys]] = {}
    for keys, band in answers_of(name, step):
        for side in ("from", "below"):
            limit = band.get(side)
            if isinstance(limit, str) and _is_number(limit):
                found.setdefault(limit, []).append((*keys, side))
    return found


def _is_number(text: str) -> bool:
    try:
        return Decimal(text).is_finite()
    except InvalidOperation:
        return False


def makers_limit(source: ProcedureSource) -> Iterator[Mistake]:
    """A limit that is a value of the maker becomes another value that could judge the reading."""
    facts = source.terms.get("facts", {})
    for name, step in steps_of(source):
        places: dict[str, list[Keys]] = {}
        for keys, band in answers_of(name, step):
            for side in ("from", "below"):
                limit = band.get(side)
                if isinstance(limit, dict):
                    places.setdefault(limit["specification"], []).append((*keys, side))
        for fact, all_keys in places.items():
            for other, told in facts.items():
                alike = told.get("unit") == facts[fact].get("unit") and told.get("specification") == "true"
                if other == fact or not alike:
                    continue
                asks = [other if asked == fact else asked for asked in step.get("asks", [])]
                edits = [Edit(keys, {"specification": other}) for keys in all_keys]
                if len(set(asks)) == len(asks):
                    edits.append(Edit(("steps", name, "asks"), asks))
                what = f"the maker's {fact} becomes {other}"
                yield Mistake("maker's value", source.name, f"steps/{name}", what, tuple(edits))


# --- the connection -------------------------------------------------------------------------------


def clip(source: ProcedureSource) -> Iterator[Mistake]:
    """The clip is on the other post of the battery."""
    for name, measure in measured(source):
        other = POSTS.get(measure.get("clip", ""))
        if other and other != measure["probe"]:
            what = f"the clip is on {other}, not on {measure['clip']}"
            edit = Edit(("steps", name, "measure", "clip"), other)
            yield Mistake("clip moved", source.name, f"steps/{name}", what, (edit,))


def probe(source: ProcedureSource) -> Iterator[Mistake]:
    """The probe is on a neighbouring point."""
    nodes = [name for name, place in source.terms["places"].items() if place["kind"] == "node"]
    here = list(dict.fromkeys(measure["probe"] for _, measure in measured(source)))
    for name, measure in measured(source):
        for other in NEIGHBOURS.get(measure["probe"], here):
            if other in nodes and other not in (measure["probe"], measure.get("clip")):
                what = f"the probe is on {other}, not on {measure['probe']}"
                edit = Edit(("steps", name, "measure", "probe"), other)
                yield Mistake("probe moved", source.name, f"steps/{name}", what, (edit,))


def engine(source: ProcedureSource) -> Iterator[Mistake]:
    """Key and engine are in a different state."""
    for name, measure in measured(source):
        for other in ENGINES.get(measure["engine"], ()):
            what = f"{other}, not {measure['engine']}"
            edit = Edit(("steps", name, "measure", "engine"), other)
            yield Mistake("engine state", source.name, f"steps/{name}", what, (edit,))


def plugged_in(source: ProcedureSource) -> Iterator[Mistake]:
    """A part that should be unplugged stays plugged in."""
    for name, measure in measured(source):
        parts = measure.get("unplugged", [])
        keys = ("steps", name, "measure", "unplugged")
        for part in parts:
            rest = [other for other in parts if other != part]
            what = f"{part} stays plugged in"
            yield Mistake("not unplugged", source.name, f"steps/{name}", what, (Edit(keys, rest or None),))


def unplugged(source: ProcedureSource) -> Iterator[Mistake]:
    """A part that other steps of this procedure unplug is unplugged here, too."""
    known = dict.fromkeys(part for _, measure in measured(source) for part in measure.get("unplugged", []))
    for name, measure in measured(source):
        parts = measure.get("unplugged", [])
        keys = ("steps", name, "measure", "unplugged")
        for part in known:
            if part not in parts:
                what = f"{part} is unplugged"
                yield Mistake(
                    "unplugged besides", source.name, f"steps/{name}", what, (Edit(keys, [*parts, part]),)
                )


def lamp(source: ProcedureSource) -> Iterator[Mistake]:
    """The heavy lamp replaces the small one, or the other way round."""
    for name, measure in measured(source):
        if measure["with"] in LAMPS:
            other = LAMPS[measure["with"]]
            what = f"with the {other}, not the {measure['with']}"
            edit = Edit(("steps", name, "measure", "with"), other)
            yield Mistake("other lamp", source.name, f"steps/{name}", what, (edit,))


def instrument(source: ProcedureSource) -> Iterator[Mistake]:
    """Another instrument, not a lamp, that could give the same answers or readings replaces this one."""
    instruments = source.terms["instruments"]
    for name, step in steps_of(source):
        used = step["measure"]["with"]
        if used in SENSES or used in LAMPS:
            continue
        for other, about in instruments.items():
            fits = (
                step["reading"]["unit"] in about.get("units", [])
                if "reading" in step
                else set(step["answers"]) <= set(about.get("outcomes", []))
            )
            if (
                fits
                and other != used
                and other not in SENSES
                and bool(about["clip"]) == ("clip" in step["measure"])
            ):
                what = f"with the {other}, not the {used}"
                edit = Edit(("steps", name, "measure", "with"), other)
                yield Mistake("other instrument", source.name, f"steps/{name}", what, (edit,))


# --- readings and cautions ------------------------------------------------------------------------


def reading_key(kind: str, key: str) -> Callable[[ProcedureSource], Iterator[Mistake]]:
    """A reading is judged without an allowance: this key of it is missing."""

    def make(source: ProcedureSource) -> Iterator[Mistake]:
        for name, step in steps_of(source):
            if key in step.get("reading", {}):
                edit = Edit(("steps", name, "reading", key), None)
                what = f"'{key}: {step['reading'][key]}' is missing"
                yield Mistake(kind, source.name, f"steps/{name}", what, (edit,))

    return make


def caution(source: ProcedureSource) -> Iterator[Mistake]:
    """A caution of a step is missing."""
    for name, step in steps_of(source):
        for dropped in step["cautions"]:
            rest = [other for other in step["cautions"] if other != dropped]
            edit = Edit(("steps", name, "cautions"), rest)
            what = f"the caution {dropped} is missing"
            yield Mistake("caution dropped", source.name, f"steps/{name}", what, (edit,))
