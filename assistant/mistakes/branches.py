"""Mistakes in the ways of answers and in verdicts: branches, hand-overs, dropped steps, parts, faults.

No kind knows a particular procedure or step: each looks for the places where it fits.
Changes without effect (swapping two answers that lead to the same step) are left out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.mistakes.editing import (
    Edit,
    Mistake,
    ProcedureSource,
    Tree,
    answers_of,
    led,
    said,
    steps_of,
    target_of,
    verdicts_of,
    ways_of,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

# --- branches -------------------------------------------------------------------------------------


def swapped(kind: str, part: str) -> Callable[[ProcedureSource], Iterator[Mistake]]:
    """Two answers (or bands) of one step swap their targets."""

    def make(source: ProcedureSource) -> Iterator[Mistake]:
        for name, step in steps_of(source):
            if part not in step and part not in step.get("reading", {}):
                continue
            ways = answers_of(name, step)
            for at, (keys, way) in enumerate(ways):
                for other_keys, other in ways[at + 1 :]:
                    if target_of(way) == target_of(other):
                        continue
                    yield Mistake(
                        kind,
                        source.name,
                        f"steps/{name}",
                        f"{keys[-1]} and {other_keys[-1]} are led where the other one led",
                        (
                            Edit(keys, led(way, target_of(other))),
                            Edit(other_keys, led(other, target_of(way))),
                        ),
                    )

    return make


def led_to_sibling(source: ProcedureSource) -> Iterator[Mistake]:
    """An answer leads where another answer of its step leads."""
    for name, step in steps_of(source):
        ways = answers_of(name, step)
        for keys, way in ways:
            for other in dict.fromkeys(target_of(other) for _, other in ways):
                if other != target_of(way):
                    what = f"{keys[-1]} leads to {said(other)}, not to {said(target_of(way))}"
                    yield Mistake(
                        "answer led elsewhere",
                        source.name,
                        f"steps/{name}",
                        what,
                        (Edit(keys, led(way, other)),),
                        tidy=True,
                    )


def handed_over(source: ProcedureSource) -> Iterator[Mistake]:
    """An answer hands over to another procedure of the folder, or a verdict goes on with another one."""
    for name, step in steps_of(source):
        for keys, way in ways_of(name, step):
            if "procedure" in way:
                for other in source.procedures:
                    if other not in (way["procedure"], source.name):
                        yield Mistake(
                            "handed over elsewhere",
                            source.name,
                            f"steps/{name}",
                            f"{keys[-1]} hands over to {other}, not to {way['procedure']}",
                            (Edit(keys, led(way, ("procedure", other))),),
                        )
    for name, verdict in verdicts_of(source):
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


def not_continued(source: ProcedureSource) -> Iterator[Mistake]:
    """A verdict no longer goes on with a procedure."""
    for name, verdict in verdicts_of(source):
        if "continue_with" in verdict:
            yield Mistake(
                "hand-over dropped",
                source.name,
                f"verdicts/{name}",
                f"does not go on with {verdict['continue_with']}",
                (Edit(("verdicts", name, "continue_with"), None),),
            )


def skip_elsewhere(source: ProcedureSource) -> Iterator[Mistake]:
    """A skipped test goes where one of its answers goes."""
    for name, step in steps_of(source):
        if "if_skipped" not in step:
            continue
        before = target_of(step["if_skipped"])
        for other in dict.fromkeys(target_of(way) for _, way in answers_of(name, step)):
            if other != before:
                yield Mistake(
                    "skip led elsewhere",
                    source.name,
                    f"steps/{name}",
                    f"skipped leads to {said(other)}, not to {said(before)}",
                    (Edit(("steps", name, "if_skipped"), led(step["if_skipped"], other)),),
                    tidy=True,
                )


def no_skip(source: ProcedureSource) -> Iterator[Mistake]:
    """A test cannot be skipped any more."""
    for name, step in steps_of(source):
        if "if_skipped" in step:
            keys = ("steps", name, "if_skipped")
            what = "cannot be skipped any more"
            yield Mistake("skip dropped", source.name, f"steps/{name}", what, (Edit(keys, None),), tidy=True)


# --- steps ----------------------------------------------------------------------------------------


def _good_target(step: Tree) -> tuple[str, str] | None:
    """The target of a step's good answer."""
    good = step.get("good")
    return next((target_of(way) for keys, way in answers_of("", step) if keys[-1] == good), None)


def dropped(source: ProcedureSource) -> Iterator[Mistake]:
    """A step is dropped: everything that led to it leads to the target of its good answer."""
    for name, step in steps_of(source):
        beyond = _good_target(step)
        if beyond is None or beyond == ("next", name):
            continue
        edits = [
            Edit(keys, led(way, beyond))
            for other, its in steps_of(source)
            if other != name
            for keys, way in ways_of(other, its)
            if target_of(way) == ("next", name)
        ]
        if source.tree["start"] == name:
            if beyond[0] != "next":
                continue
            edits.append(Edit(("start",), beyond[1]))
        what = f"dropped; what led there leads to {said(beyond)}"
        edits.append(Edit(("steps", name), None))
        yield Mistake("step dropped", source.name, f"steps/{name}", what, tuple(edits), tidy=True)


def skirted(source: ProcedureSource) -> Iterator[Mistake]:
    """One answer leads past a step, to the target of that step's good answer."""
    for name, step in steps_of(source):
        for keys, way in answers_of(name, step):
            leads, target = target_of(way)
            beyond = _good_target(source.tree["steps"][target]) if leads == "next" else None
            if beyond is not None and beyond not in (("next", name), ("next", target)):
                what = f"{keys[-1]} leads past {target} to {said(beyond)}"
                edit = Edit(keys, led(way, beyond))
                yield Mistake("exclusion skirted", source.name, f"steps/{name}", what, (edit,), tidy=True)


# --- verdicts and what is ruled out ---------------------------------------------------------------


def _parts(source: ProcedureSource) -> list[str]:
    """Every part that any verdict of the folder names."""
    named = (
        verdict["part"]
        for tree in source.procedures.values()
        for verdict in tree.get("verdicts", {}).values()
    )
    return list(dict.fromkeys(part for part in named if part))


def part(kind: str, *, named: bool) -> Callable[[ProcedureSource], Iterator[Mistake]]:
    """A verdict names another part, or a part where it named none."""

    def make(source: ProcedureSource) -> Iterator[Mistake]:
        for name, verdict in verdicts_of(source):
            if bool(verdict["part"]) is not named:
                continue
            for other in _parts(source):
                if other != verdict["part"]:
                    what = f"names the {other}, not {verdict['part'] or 'no part'}"
                    edit = Edit(("verdicts", name, "part"), other)
                    yield Mistake(kind, source.name, f"verdicts/{name}", what, (edit,))

    return make


def fault_added(source: ProcedureSource) -> Iterator[Mistake]:
    """A verdict gets a fault that another verdict of this procedure covers."""
    known = dict.fromkeys(fault for _, verdict in verdicts_of(source) for fault in verdict["faults"])
    for name, verdict in verdicts_of(source):
        for fault in known:
            if fault not in verdict["faults"]:
                edit = Edit(("verdicts", name, "faults"), [*verdict["faults"], fault])
                yield Mistake(
                    "fault added", source.name, f"verdicts/{name}", f"covers {fault} as well", (edit,)
                )


def fault_dropped(source: ProcedureSource) -> Iterator[Mistake]:
    """A verdict leaves out one of its faults."""
    for name, verdict in verdicts_of(source):
        for fault in verdict["faults"]:
            rest = [other for other in verdict["faults"] if other != fault]
            edit = Edit(("verdicts", name, "faults"), rest)
            yield Mistake(
                "fault left out", source.name, f"verdicts/{name}", f"does not cover {fault}", (edit,)
            )


def ruled_out(source: ProcedureSource) -> Iterator[Mistake]:
    """An answer rules out a further fault that a verdict of this procedure covers."""
    known = dict.fromkeys(fault for _, verdict in verdicts_of(source) for fault in verdict["faults"])
    for name, step in steps_of(source):
        for keys, way in answers_of(name, step):
            before = way.get("rules_out", [])
            for fault in known:
                if fault not in before:
                    what = f"{keys[-1]} rules out {fault} as well"
                    edit = Edit((*keys, "rules_out"), [*before, fault])
                    yield Mistake("ruled out besides", source.name, f"steps/{name}", what, (edit,))
