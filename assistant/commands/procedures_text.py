"""What the command ``procedures`` prints for people: a table, a whole procedure, and changes."""

from __future__ import annotations

import itertools
import shutil
from typing import TYPE_CHECKING, Any

from assistant import __version__
from assistant.core.words.placing import capital
from assistant.printing import filled

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from assistant.commands.own_procedures import Changes, Updated
    from assistant.core.comparison.change import Alteration
    from assistant.core.words.outlining import Outline

WIDEST = 100
"""Most columns of a text that is read."""


def width() -> int:
    """Columns to fill: those of the terminal, at most `WIDEST`."""
    return max(40, min(shutil.get_terminal_size((80, 24)).columns, WIDEST))


# --- the list -------------------------------------------------------------------------------------


def table(listed: Sequence[dict[str, Any]]) -> Iterator[str]:
    """A line for each procedure, and where they come from."""
    if not listed:
        yield "There are no procedures."
        return
    shop = listed[0]["from"] == "shop"
    wide = max(len(one["name"]) for one in listed)
    title = max(len(one["title"]) for one in listed)
    for one in listed:
        state = f"  {one['state']}" if shop else ""
        steps = "step " if one["steps"] == 1 else "steps"
        yield f"{one['name']:<{wide}}  {one['steps']:>2} {steps}  {one['title']:<{title}}{state}".rstrip()
    yield ""
    yield f"From the folder {listed[0]['folder']}." if shop else "All are bundled, as shipped."
    yield "To read one: bay-assistant procedures NAME. To edit them: bay-assistant procedures --copy DIR."


# --- one procedure --------------------------------------------------------------------------------


def shown(outline: Outline, wide: int) -> Iterator[str]:
    """A procedure as a text: what it needs, each step with its cautions and answers, and the verdicts."""
    yield f"{outline['name']}: {outline['title']}"
    yield ""
    yield from filled(outline["about"], wide)
    yield ""
    yield from filled(f"Needs: {', '.join(outline['needs']) or 'nothing'}.", wide)
    for one in outline["cautions"]:
        yield from _labelled("Caution", f"{one['words']}{_acknowledged(one)}", wide)
    for one in outline["asks"]:
        yield from _labelled("Asks first", one["words"], wide)
    numbers = {step["name"]: number for number, step in enumerate(outline["steps"], start=1)}
    if outline["start"] != outline["steps"][0]["name"]:
        yield f"It begins with step {numbers[outline['start']]}."
    for step in outline["steps"]:
        yield ""
        yield f"Step {numbers[step['name']]}, {step['name']} ({step['engine']})"
        yield from _step(step, numbers, wide)
    for verdict in outline["verdicts"]:
        yield ""
        yield f"Verdict {verdict['name']}"
        yield from _verdict(verdict, wide)


def _acknowledged(caution: dict[str, Any]) -> str:
    return " (Has to be acknowledged.)" if caution["acknowledge"] else ""


def _step(step: dict[str, Any], numbers: dict[str, int], wide: int) -> Iterator[str]:
    for one in step["cautions"]:
        yield from _labelled("Caution", f"{one['words']}{_acknowledged(one)}", wide)
    if not step["cautions"]:
        yield "  No caution."
    for one in step["asks"]:
        yield from _labelled("Asks first", one["words"], wide)
    if step["repeats"]:
        yield from _labelled("Repeats", "the measurement that led to the verdict, if there is one", wide)
    yield from _labelled("Says", " ".join([*step["instructions"], step["question"]]), wide)
    if step["hint"]:
        yield from _labelled("Not sure", step["hint"], wide)
    for answer in step["answers"]:
        good = " (good)" if answer["good"] else ""
        key = f"{answer['key']} " if answer["key"] else ""
        goes = f"{answer['words']}{good}; goes to {_leads(answer['leads'], numbers)}"
        yield from _labelled(f"  {key}{answer['name']}", goes, wide)
        if answer["rules_out"]:
            yield from _labelled("", f"  Rules out: {', '.join(answer['rules_out'])}.", wide)
        if answer["known_after"]:
            yield from _labelled("", f"  Known without asking after {answer['known_after']}.", wide)
    sources = dict.fromkeys(answer["source"] for answer in step["answers"] if answer["source"])
    for source in sources:
        yield from _labelled("Limits from", source, wide)
    skipped = _leads(step["skipped"], numbers) if step["skipped"] else "it cannot be skipped"
    yield from _labelled("Skipped", skipped, wide)


def _leads(target: dict[str, Any], numbers: dict[str, int]) -> str:
    if target["to"] == "step":
        return f"step {numbers[target['name']]}, {target['name']}"
    words = f" ({target['words']})" if target["words"] else ""
    return f"{target['to']} {target['name']}{words}"


def _verdict(verdict: dict[str, Any], wide: int) -> Iterator[str]:
    rows = (
        ("Says", verdict["says"]),
        ("Part", verdict["part"] or "none is condemned"),
        ("Faults", ", ".join(verdict["faults"])),
        ("Repair", verdict["repair"]),
        ("Afterwards", "; ".join(verdict["verify"])),
        ("Still open", verdict["still_possible"]),
        ("", verdict["next_check"]),
        ("Goes on with", verdict["goes_on_with"]),
    )
    for label, text in rows:
        if text:
            yield from _labelled(label, text, wide)


_LABEL = 14


def _labelled(label: str, text: str, wide: int) -> list[str]:
    """A text with a label before it; its other lines stand under its first."""
    left = f"  {label}:" if label else ""
    first = f"{left:<{_LABEL + 2}} " if len(left) <= _LABEL + 2 else f"{left} "
    return filled(text, wide, first, " " * (_LABEL + 3))


# --- changes --------------------------------------------------------------------------------------


def changes(found: Changes, wide: int) -> Iterator[str]:
    """All changes of a copy, those of the program since, and where both changed the same."""
    three, origin = found.three, found.origin
    if origin is None:
        yield from filled(
            f"{found.folder} does not say which version it came from, so it is compared with this one "
            f"({__version__}): all differences count as yours.",
            wide,
        )
        yield ""
    else:
        yield f"{found.folder} came with bay-assistant {origin.version}; this is {__version__}."
        yield ""
    yield from _section("You changed:", (*three.yours, *found.beside), "You changed nothing.", wide)
    if origin is None:
        return
    yield ""
    same = "The program ships the same procedures as then."
    yield from _section("The program changed since:", (*three.shipped, *found.shipped_beside), same, wide)
    if three.alike:
        yield ""
        yield from _section("Both changed alike:", three.alike, "", wide)
    for conflict in three.conflicts:
        where = conflict.yours[0].where if len(conflict.place) > 1 else ""
        yield ""
        yield from filled(f"You and the program changed the same: {_named(conflict.file, where)}", wide)
        for who, made in (("You", conflict.yours), ("The program", conflict.shipped)):
            for number, change in enumerate(made):
                said = f"{_elsewhere(change, where)}{change.sentence}."
                yield from _labelled("" if number else who, said, wide)
        yield "  Read both, and keep in your file what should count."
    if three.shipped or found.shipped_beside:
        yield ""
        yield from filled(
            f"To bring in what the program changed in files that you did not edit: "
            f"bay-assistant procedures --update {found.folder}",
            wide,
        )


def _elsewhere(change: Alteration, where: str) -> str:
    return f"{change.where}: " if change.where and change.where != where else ""


def _named(file: str, where: str) -> str:
    name = file.removesuffix(".yaml")
    return f"{name}, {where}" if where else name


def _section(title: str, made: Sequence[Alteration], none: str, wide: int) -> Iterator[str]:
    if not made:
        if none:
            yield none
        return
    yield title
    for (file, where), group in itertools.groupby(made, key=lambda one: (one.file, one.where)):
        yield f"  {_named(file, where)}"
        for change in group:
            yield from filled(f"{capital(change.sentence)}.", wide, "    - ", "      ")


def updated(done: Updated, folder: Path, wide: int) -> Iterator[str]:
    """What an update did, and what it left to the person."""
    rows: Iterable[tuple[str, list[str]]] = (
        ("Brought in", done.taken),
        ("Removed", done.removed),
        ("Kept as you have it", done.kept),
    )
    for label, names in rows:
        if names:
            yield from filled(f"{label}: {', '.join(names)}.", wide, "", "  ")
    if not (done.taken or done.removed or done.kept):
        yield "The program ships the same procedures as then; there was nothing to bring in."
    if done.left:
        yield ""
        yield from _section("These changes of the program are not in your copy:", done.left, "", wide)
    yield ""
    yield f"Check it: bay-assistant lint --procedures {folder}"
