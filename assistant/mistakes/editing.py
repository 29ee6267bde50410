"""A procedure as a tree of its YAML, and the changes that a mistake makes in it.

A mistake names the keys that it changes and their new values; nothing else in the folder changes.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import yaml

from assistant import files
from assistant.core.library.vocabulary import SENSES
from assistant.loading.folder import CAUTIONS_FILE, ODDS_FILE, TERMS_FILE

if TYPE_CHECKING:
    from pathlib import Path

Keys = tuple[str, ...]
"""A path into a tree: the keys from its top."""

Tree = dict[str, Any]
"""A parsed YAML file: maps and lists, with every scalar as the text that was typed."""

TARGETS = ("next", "procedure", "verdict")


@dataclass(frozen=True)
class Edit:
    """The new value under these keys; None removes the last key."""

    keys: Keys
    value: Any


@dataclass(frozen=True)
class Mistake:
    """One deliberate mistake.

    Attributes:
        kind: Its kind, a name of `KINDS`.
        procedure: The procedure that is changed.
        place: The changed step or verdict: ``steps/NAME`` or ``verdicts/NAME``.
        what: The change in words, for a reader of the report.
        edits: The changes, in order.
        tidy: Whether steps and verdicts that nothing leads to any more are removed, as a writer would do on the
            loader's advice.
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
class ProcedureSource:
    """One procedure, with the rest of the folder.

    Attributes:
        name: Name of the procedure.
        tree: Its YAML.
        terms: The YAML of the terms.
        procedures: All procedures by name.
    """

    name: str
    tree: Tree
    terms: Tree
    procedures: Mapping[str, Tree]


def read(folder: Path) -> dict[str, ProcedureSource]:
    """The procedures of a folder, with each scalar as it was typed.

    Raises:
        OSError: A file cannot be read.
        yaml.YAMLError: A file is not YAML; the loader has a better message, so load the folder first.
    """
    terms = _parsed(folder / TERMS_FILE)
    others = (TERMS_FILE, CAUTIONS_FILE, ODDS_FILE)
    trees = {path.stem: _parsed(path) for path in sorted(folder.glob("*.yaml")) if path.name not in others}
    return {name: ProcedureSource(name, tree, terms, trees) for name, tree in trees.items()}


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
    """The tree as YAML that the loader reads like the original."""
    return yaml.safe_dump(tree, sort_keys=False, allow_unicode=True, width=110)


def _tidy(tree: Tree) -> None:
    """Remove the steps and verdicts that nothing leads to."""
    reached, ends, waiting = set(), set(), [tree["start"]]
    while waiting:
        name = waiting.pop()
        if name in reached:
            continue
        reached.add(name)
        for _, way in ways_of(name, tree["steps"][name]):
            leads, target = target_of(way)
            if leads == "next":
                waiting.append(target)
            elif leads == "verdict":
                ends.add(target)
    tree["steps"] = {name: step for name, step in tree["steps"].items() if name in reached}
    told = tree.get("verdicts", {})
    tree["verdicts"] = {name: verdict for name, verdict in told.items() if name in ends}


# --- looking into a tree --------------------------------------------------------------------------


def answers_of(name: str, step: Tree) -> list[tuple[Keys, Tree]]:
    """The answers or bands of a step, each with its keys."""
    if "answers" in step:
        return [(("steps", name, "answers", outcome), way) for outcome, way in step["answers"].items()]
    bands = step.get("reading", {}).get("bands", {})
    return [(("steps", name, "reading", "bands", band), way) for band, way in bands.items()]


def ways_of(name: str, step: Tree) -> list[tuple[Keys, Tree]]:
    """The same, with the targets of an unjudged reading and of a skipped test."""
    found = answers_of(name, step)
    if "unjudged" in step.get("reading", {}):
        found.append((("steps", name, "reading", "unjudged"), step["reading"]["unjudged"]))
    if "if_skipped" in step:
        found.append((("steps", name, "if_skipped"), step["if_skipped"]))
    return found


def target_of(way: Tree) -> tuple[str, str]:
    """The target of an answer: its key and its name."""
    return next((key, way[key]) for key in TARGETS if key in way)


def led(way: Tree, target: tuple[str, str]) -> Tree:
    """The answer with a new target; the rest of it stays."""
    rest = {key: value for key, value in way.items() if key not in TARGETS}
    return {target[0]: target[1], **rest}


def steps_of(source: ProcedureSource) -> Iterator[tuple[str, Tree]]:
    """The steps of a procedure by name."""
    yield from source.tree["steps"].items()


def verdicts_of(source: ProcedureSource) -> Iterator[tuple[str, Tree]]:
    """The verdicts of a procedure by name."""
    yield from source.tree.get("verdicts", {}).items()


def said(target: tuple[str, str]) -> str:
    """A target in words."""
    return f"{target[0]} {target[1]}"


def measured(source: ProcedureSource) -> Iterator[tuple[str, Tree]]:
    """Steps that connect an instrument."""
    for name, step in steps_of(source):
        if step["measure"]["with"] not in SENSES:
            yield name, step["measure"]
