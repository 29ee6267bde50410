"""Mistakes by kind, as edits of the parsed YAML of a procedure.

A mistake names the keys that it changes and what stands there then, and nothing else of the folder changes.
No kind knows a procedure or a step: each looks for the places where it fits, so that it fits procedures that are
written later.
A change that changes nothing (two answers that lead to the same step, swapped) is not among them.
"""

from __future__ import annotations

import copy
import random
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

import yaml

from assistant import files
from assistant.core.loading import CAUTIONS_FILE, ODDS_FILE, TERMS_FILE
from assistant.core.procedure import SENSES

if TYPE_CHECKING:
    from pathlib import Path

Keys = tuple[str, ...]
"""The way into a tree: the keys from its top."""

Tree = dict[str, Any]
"""A parsed YAML file: maps and lists, and every scalar the text that was typed."""

TARGETS = ("next", "procedure", "verdict")

FACTORS = {"halved": Decimal("0.5"), "doubled": Decimal(2), "ten times": Decimal(10)}
"""By what a limit is moved."""

ENGINES = {"key-off": ("key-on",), "key-on": ("cranking", "key-off"), "cranking": ("key-on", "key-off")}
"""Engine states that are taken for each other; running is asked for by the repair's check alone."""

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
"""Points at the same plug, at the other end of the same wire, or of the same purpose, which a writer or a probe takes
for one another.  A point that is not here is taken for each other one that its procedure probes."""


@dataclass(frozen=True)
class Edit:
    """What stands under these keys afterwards; None: the last key is gone."""

    keys: Keys
    value: Any


@dataclass(frozen=True)
class Mistake:
    """One deliberate mistake.

    Attributes:
        kind: Its kind, a name of `KINDS`.
        procedure: The procedure that is changed.
        place: The step or verdict: ``steps/NAME`` or ``verdicts/NAME``.
        what: What is changed, for a reader of the report.
        edits: The changes, in order.
        tidy: Steps and verdicts that nothing leads to afterwards are removed as well, as a writer does whom the
            loader has told of them.
    """

    kind: str
    procedure: str
    place: str
    what: str
    edits: tuple[Edit, ...]
    tidy: bool = False

    def __str__(self) -> str:
        return f"{self.procedure}.yaml, {self.place}: {self.what}"


@dataclass(frozen=True)
class Source:
    """One procedure, with what the folder has besides.

    Attributes:
        name: Name of the procedure.
        tree: Its YAML.
        terms: That of the terms.
        procedures: All procedures by name.
    """

    name: str
    tree: Tree
    terms: Tree
    procedures: Mapping[str, Tree]


def read(folder: Path) -> dict[str, Source]:
    """The procedures of a folder, each scalar as it was typed.

    Raises:
        OSError: A file cannot be read.
        yaml.YAMLError: A file is not YAML; the loader tells that better, so load the folder first.
    """
    terms = _parsed(folder / TERMS_FILE)
    others = (TERMS_FILE, CAUTIONS_FILE, ODDS_FILE)
    trees = {path.stem: _parsed(path) for path in sorted(folder.glob("*.yaml")) if path.name not in others}
    return {name: Source(name, tree, terms, trees) for name, tree in trees.items()}


def _parsed(path: Path) -> Tree:
    tree: Tree = yaml.load(files.read_bytes(path, files.SETTINGS), Loader=yaml.BaseLoader)  # noqa: S506  texts only
    return tree


def apply(tree: Tree, mistake: Mistake) -> Tree:
    """A changed copy of a procedure's tree."""
    changed = copy.deepcopy(tree)
    for edit in mistake.edits:
        at = changed
        for key in edit.keys[:-1]:
            at = at[key]
        if edit.value is None:
            del at[edit.keys[-1]]
        else:
            at[edit.keys[-1]] = copy.deepcopy(edit.value)
    if mistake.tidy:
        _tidy(changed)
    return changed


def written(tree: Tree) -> str:
    """The tree as YAML that the loader reads as it would the original."""
    return yaml.safe_dump(tree, sort_keys=False, allow_unicode=True, width=110)


def _tidy(tree: Tree) -> None:
    """Remove what nothing leads to."""
    reached, ends, waiting = set(), set(), [tree["start"]]
    while waiting:
        name = waiting.pop()
        if name in reached:
            continue
        reached.add(name)
        for _, way in _ways(name, tree["steps"][name]):
            leads, target = _target(way)
            if leads == "next":
                waiting.append(target)
            elif leads == "verdict":
                ends.add(target)
    tree["steps"] = {name: step for name, step in tree["steps"].items() if name in reached}
    tree["verdicts"] = {name: verdict for name, verdict in tree["verdicts"].items() if name in ends}


# --- looking into a tree --------------------------------------------------------------------------


def _answers(name: str, step: Tree) -> list[tuple[Keys, Tree]]:
    """The answers or bands of a step, each with its keys."""
    if "answers" in step:
        return [(("steps", name, "answers", outcome), way) for outcome, way in step["answers"].items()]
    bands = step.get("reading", {}).get("bands", {})
    return [(("steps", name, "reading", "bands", band), way) for band, way in bands.items()]


def _ways(name: str, step: Tree) -> list[tuple[Keys, Tree]]:
    """The same, with what follows where a reading is not judged and where the test is skipped."""
    found = _answers(name, step)
    if "unjudged" in step.get("reading", {}):
        found.append((("steps", name, "reading", "unjudged"), step["reading"]["unjudged"]))
    if "if_skipped" in step:
        found.append((("steps", name, "if_skipped"), step["if_skipped"]))
    return found


def _target(way: Tree) -> tuple[str, str]:
    return next((key, way[key]) for key in TARGETS if key in way)


def _led(way: Tree, target: tuple[str, str]) -> Tree:
    """The answer, led elsewhere; the rest of it stays."""
    rest = {key: value for key, value in way.items() if key not in TARGETS}
    return {target[0]: target[1], **rest}


def _steps(source: Source) -> Iterator[tuple[str, Tree]]:
    yield from source.tree["steps"].items()


def _verdicts(source: Source) -> Iterator[tuple[str, Tree]]:
    yield from source.tree["verdicts"].items()


def _said(target: tuple[str, str]) -> str:
    return f"{target[0]} {target[1]}"


def _measured(source: Source) -> Iterator[tuple[str, Tree]]:
    """Steps in which something is connected."""
    for name, step in _steps(source):
        if step["measure"]["with"] not in SENSES:
            yield name, step["measure"]


# --- limits ---------------------------------------------------------------------------------------


def _limits_moved(word: str) -> Callable[[Source], Iterator[Mistake]]:
    """A border of two bands, moved in both of them."""

    def make(source: Source) -> Iterator[Mistake]:
        for name, step in _steps(source):
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
    """Each limit that is a number, with the keys of all places in which the step has it."""
    found: dict[str, list[Keys]] = {}
    for keys, band in _answers(name, step):
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


def _makers_limit(source: Source) -> Iterator[Mistake]:
    """A limit that is one value of the maker becomes another one that the reading could be judged by."""
    facts = source.terms.get("facts", {})
    for name, step in _steps(source):
        places: dict[str, list[Keys]] = {}
        for keys, band in _answers(name, step):
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


# --- branches -------------------------------------------------------------------------------------


def _swapped(kind: str, part: str) -> Callable[[Source], Iterator[Mistake]]:
    """Two answers (or bands) of one step, each led where the other one led."""

    def make(source: Source) -> Iterator[Mistake]:
        for name, step in _steps(source):
            if part not in step and part not in step.get("reading", {}):
                continue
            ways = _answers(name, step)
            for at, (keys, way) in enumerate(ways):
                for other_keys, other in ways[at + 1 :]:
                    if _target(way) == _target(other):
                        continue
                    yield Mistake(
                        kind,
                        source.name,
                        f"steps/{name}",
                        f"{keys[-1]} and {other_keys[-1]} are led where the other one led",
                        (Edit(keys, _led(way, _target(other))), Edit(other_keys, _led(other, _target(way)))),
                    )

    return make


def _led_to_sibling(source: Source) -> Iterator[Mistake]:
    for name, step in _steps(source):
        ways = _answers(name, step)
        for keys, way in ways:
            for other in dict.fromkeys(_target(other) for _, other in ways):
                if other != _target(way):
                    what = f"{keys[-1]} leads to {_said(other)}, not to {_said(_target(way))}"
                    yield Mistake(
                        "answer led elsewhere",
                        source.name,
                        f"steps/{name}",
                        what,
                        (Edit(keys, _led(way, other)),),
                        tidy=True,
                    )


def _handed_over(source: Source) -> Iterator[Mistake]:
    """An answer that hands over, or a verdict that goes on with a procedure: another one that the folder has."""
    for name, step in _steps(source):
        for keys, way in _ways(name, step):
            if "procedure" in way:
                for other in source.procedures:
                    if other not in (way["procedure"], source.name):
                        yield Mistake(
                            "handed over elsewhere",
                            source.name,
                            f"steps/{name}",
                            f"{keys[-1]} hands over to {other}, not to {way['procedure']}",
                            (Edit(keys, _led(way, ("procedure", other))),),
                        )
    for name, verdict in _verdicts(source):
        before = verdict.get("continue_with")
        for other in source.procedures:
            if before and other not in (before, source.name):
                yield Mistake(
                    "handed over elsewhere",
                    source.name,
                    f"verdicts/{name}",
                    f"goes on with {other}, not with {before}",
                    (Edit(("verdicts", name, "continue_with"), other),),
                )


def _not_continued(source: Source) -> Iterator[Mistake]:
    for name, verdict in _verdicts(source):
        if "continue_with" in verdict:
            yield Mistake(
                "hand-over dropped",
                source.name,
                f"verdicts/{name}",
                f"does not go on with {verdict['continue_with']}",
                (Edit(("verdicts", name, "continue_with"), None),),
            )


def _skip_elsewhere(source: Source) -> Iterator[Mistake]:
    """A skipped test goes where one of its answers goes."""
    for name, step in _steps(source):
        if "if_skipped" not in step:
            continue
        before = _target(step["if_skipped"])
        for other in dict.fromkeys(_target(way) for _, way in _answers(name, step)):
            if other != before:
                yield Mistake(
                    "skip led elsewhere",
                    source.name,
                    f"steps/{name}",
                    f"skipped leads to {_said(other)}, not to {_said(before)}",
                    (Edit(("steps", name, "if_skipped"), _led(step["if_skipped"], other)),),
                    tidy=True,
                )


def _no_skip(source: Source) -> Iterator[Mistake]:
    for name, step in _steps(source):
        if "if_skipped" in step:
            keys = ("steps", name, "if_skipped")
            what = "cannot be skipped any more"
            yield Mistake("skip dropped", source.name, f"steps/{name}", what, (Edit(keys, None),), tidy=True)


# --- the connection -------------------------------------------------------------------------------


def _clip(source: Source) -> Iterator[Mistake]:
    for name, measure in _measured(source):
        other = POSTS.get(measure.get("clip", ""))
        if other and other != measure["probe"]:
            what = f"the clip is on {other}, not on {measure['clip']}"
            edit = Edit(("steps", name, "measure", "clip"), other)
            yield Mistake("clip moved", source.name, f"steps/{name}", what, (edit,))


def _probe(source: Source) -> Iterator[Mistake]:
    nodes = [name for name, place in source.terms["places"].items() if place["kind"] == "node"]
    here = list(dict.fromkeys(measure["probe"] for _, measure in _measured(source)))
    for name, measure in _measured(source):
        for other in NEIGHBOURS.get(measure["probe"], here):
            if other in nodes and other not in (measure["probe"], measure.get("clip")):
                what = f"the probe is on {other}, not on {measure['probe']}"
                edit = Edit(("steps", name, "measure", "probe"), other)
                yield Mistake("probe moved", source.name, f"steps/{name}", what, (edit,))


def _engine(source: Source) -> Iterator[Mistake]:
    for name, measure in _measured(source):
        for other in ENGINES.get(measure["engine"], ()):
            what = f"{other}, not {measure['engine']}"
            edit = Edit(("steps", name, "measure", "engine"), other)
            yield Mistake("engine state", source.name, f"steps/{name}", what, (edit,))


def _plugged_in(source: Source) -> Iterator[Mistake]:
    for name, measure in _measured(source):
        parts = measure.get("unplugged", [])
        keys = ("steps", name, "measure", "unplugged")
        for part in parts:
            rest = [other for other in parts if other != part]
            what = f"{part} stays plugged in"
            yield Mistake("not unplugged", source.name, f"steps/{name}", what, (Edit(keys, rest or None),))


def _unplugged(source: Source) -> Iterator[Mistake]:
    """A part that other steps of this procedure unplug."""
    known = dict.fromkeys(part for _, measure in _measured(source) for part in measure.get("unplugged", []))
    for name, measure in _measured(source):
        parts = measure.get("unplugged", [])
        keys = ("steps", name, "measure", "unplugged")
        for part in known:
            if part not in parts:
                what = f"{part} is unplugged"
                yield Mistake(
                    "unplugged besides", source.name, f"steps/{name}", what, (Edit(keys, [*parts, part]),)
                )


def _lamp(source: Source) -> Iterator[Mistake]:
    for name, measure in _measured(source):
        if measure["with"] in LAMPS:
            other = LAMPS[measure["with"]]
            what = f"with the {other}, not the {measure['with']}"
            edit = Edit(("steps", name, "measure", "with"), other)
            yield Mistake("other lamp", source.name, f"steps/{name}", what, (edit,))


def _instrument(source: Source) -> Iterator[Mistake]:
    """Another instrument that could give the same answers or readings, other than a lamp."""
    instruments = source.terms["instruments"]
    for name, step in _steps(source):
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


# --- steps ----------------------------------------------------------------------------------------


def _good_target(step: Tree) -> tuple[str, str] | None:
    """Where the good answer of a step leads."""
    good = step.get("good")
    return next((_target(way) for keys, way in _answers("", step) if keys[-1] == good), None)


def _dropped(source: Source) -> Iterator[Mistake]:
    """All that led to a step leads to where its good answer led."""
    for name, step in _steps(source):
        beyond = _good_target(step)
        if beyond is None or beyond == ("next", name):
            continue
        edits = [
            Edit(keys, _led(way, beyond))
            for other, its in _steps(source)
            if other != name
            for keys, way in _ways(other, its)
            if _target(way) == ("next", name)
        ]
        if source.tree["start"] == name:
            if beyond[0] != "next":
                continue
            edits.append(Edit(("start",), beyond[1]))
        what = f"dropped; what led there leads to {_said(beyond)}"
        edits.append(Edit(("steps", name), None))
        yield Mistake("step dropped", source.name, f"steps/{name}", what, tuple(edits), tidy=True)


def _skirted(source: Source) -> Iterator[Mistake]:
    """One answer leads past a step, to where that step's good answer leads."""
    for name, step in _steps(source):
        for keys, way in _answers(name, step):
            leads, target = _target(way)
            beyond = _good_target(source.tree["steps"][target]) if leads == "next" else None
            if beyond is not None and beyond not in (("next", name), ("next", target)):
                what = f"{keys[-1]} leads past {target} to {_said(beyond)}"
                edit = Edit(keys, _led(way, beyond))
                yield Mistake("exclusion skirted", source.name, f"steps/{name}", what, (edit,), tidy=True)


# --- verdicts and what is ruled out ---------------------------------------------------------------


def _parts(source: Source) -> list[str]:
    """Every part that any verdict of the folder names."""
    named = (verdict["part"] for tree in source.procedures.values() for verdict in tree["verdicts"].values())
    return list(dict.fromkeys(part for part in named if part))


def _part(kind: str, *, named: bool) -> Callable[[Source], Iterator[Mistake]]:
    """Another part where one is named, or a part where none is."""

    def make(source: Source) -> Iterator[Mistake]:
        for name, verdict in _verdicts(source):
            if bool(verdict["part"]) is not named:
                continue
            for other in _parts(source):
                if other != verdict["part"]:
                    what = f"names the {other}, not {verdict['part'] or 'no part'}"
                    edit = Edit(("verdicts", name, "part"), other)
                    yield Mistake(kind, source.name, f"verdicts/{name}", what, (edit,))

    return make


def _fault_added(source: Source) -> Iterator[Mistake]:
    """A fault that another verdict of this procedure covers."""
    known = dict.fromkeys(fault for _, verdict in _verdicts(source) for fault in verdict["faults"])
    for name, verdict in _verdicts(source):
        for fault in known:
            if fault not in verdict["faults"]:
                edit = Edit(("verdicts", name, "faults"), [*verdict["faults"], fault])
                yield Mistake(
                    "fault added", source.name, f"verdicts/{name}", f"covers {fault} as well", (edit,)
                )


def _fault_dropped(source: Source) -> Iterator[Mistake]:
    for name, verdict in _verdicts(source):
        for fault in verdict["faults"]:
            rest = [other for other in verdict["faults"] if other != fault]
            edit = Edit(("verdicts", name, "faults"), rest)
            yield Mistake(
                "fault left out", source.name, f"verdicts/{name}", f"does not cover {fault}", (edit,)
            )


def _ruled_out(source: Source) -> Iterator[Mistake]:
    """An answer rules out a further fault that a verdict of this procedure covers."""
    known = dict.fromkeys(fault for _, verdict in _verdicts(source) for fault in verdict["faults"])
    for name, step in _steps(source):
        for keys, way in _answers(name, step):
            before = way.get("rules_out", [])
            for fault in known:
                if fault not in before:
                    what = f"{keys[-1]} rules out {fault} as well"
                    edit = Edit((*keys, "rules_out"), [*before, fault])
                    yield Mistake("ruled out besides", source.name, f"steps/{name}", what, (edit,))


# --- readings and cautions ------------------------------------------------------------------------


def _reading_key(kind: str, key: str) -> Callable[[Source], Iterator[Mistake]]:
    def make(source: Source) -> Iterator[Mistake]:
        for name, step in _steps(source):
            if key in step.get("reading", {}):
                edit = Edit(("steps", name, "reading", key), None)
                what = f"'{key}: {step['reading'][key]}' is missing"
                yield Mistake(kind, source.name, f"steps/{name}", what, (edit,))

    return make


def _caution(source: Source) -> Iterator[Mistake]:
    for name, step in _steps(source):
        for caution in step["cautions"]:
            rest = [other for other in step["cautions"] if other != caution]
            edit = Edit(("steps", name, "cautions"), rest)
            what = f"the caution {caution} is missing"
            yield Mistake("caution dropped", source.name, f"steps/{name}", what, (edit,))


KINDS: dict[str, Callable[[Source], Iterator[Mistake]]] = {
    **{f"limit {word}": _limits_moved(word) for word in FACTORS},
    "maker's value": _makers_limit,
    "bands swapped": _swapped("bands swapped", "bands"),
    "answers swapped": _swapped("answers swapped", "answers"),
    "answer led elsewhere": _led_to_sibling,
    "handed over elsewhere": _handed_over,
    "hand-over dropped": _not_continued,
    "skip led elsewhere": _skip_elsewhere,
    "skip dropped": _no_skip,
    "clip moved": _clip,
    "probe moved": _probe,
    "engine state": _engine,
    "not unplugged": _plugged_in,
    "unplugged besides": _unplugged,
    "other lamp": _lamp,
    "other instrument": _instrument,
    "step dropped": _dropped,
    "exclusion skirted": _skirted,
    "other part": _part("other part", named=True),
    "part named": _part("part named", named=False),
    "fault added": _fault_added,
    "fault left out": _fault_dropped,
    "ruled out besides": _ruled_out,
    "leads not subtracted": _reading_key("leads not subtracted", "subtract"),
    "temperature ignored": _reading_key("temperature ignored", "at_20_celsius"),
    "caution dropped": _caution,
}
"""What makes the mistakes of each kind, in every place of a procedure where one fits."""


def everything(sources: Mapping[str, Source], kinds: tuple[str, ...] = ()) -> dict[str, list[Mistake]]:
    """All mistakes of each kind; of the kinds that are named, or of all."""
    return {
        kind: [mistake for source in sources.values() for mistake in KINDS[kind](source)]
        for kind in kinds or tuple(KINDS)
    }


def choose(made: Mapping[str, list[Mistake]], count: int, seed: int) -> list[Mistake]:
    """A seeded choice of `count` mistakes, spread evenly over the kinds and, within a kind, over the procedures.

    A kind with few places gives all that it has, and the others more.
    The same folder, count and seed give the same choice.
    """
    queues = {kind: _shuffled(kind, mistakes, seed) for kind, mistakes in made.items()}
    chosen: dict[str, list[Mistake]] = {kind: [] for kind in queues}
    while count > 0 and any(queues.values()):
        for kind, queue in queues.items():
            if queue and count > 0:
                chosen[kind].append(queue.pop(0))
                count -= 1
    return [mistake for mistakes in chosen.values() for mistake in mistakes]


def _shuffled(kind: str, mistakes: list[Mistake], seed: int) -> list[Mistake]:
    """In an order by lot, in which each procedure has its turn before one comes again."""
    lot = random.Random(f"{seed} {kind}")  # noqa: S311  no secret
    piles: dict[str, list[Mistake]] = {}
    for mistake in mistakes:
        piles.setdefault(mistake.procedure, []).append(mistake)
    for pile in piles.values():
        lot.shuffle(pile)
    names = list(piles)
    lot.shuffle(names)
    return [
        piles[name][turn]
        for turn in range(max((len(pile) for pile in piles.values()), default=0))
        for name in names
        if turn < len(piles[name])
    ]
