"""Reads a JSON file of a measurement strictly: each part is taken once, by name, and every mistake has its line.

The file is read twice: once to check that it is JSON, and once by the reader of the procedures, which remembers lines
(JSON is YAML as well).
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, TypeVar

from assistant import files
from assistant.core.library import tree
from assistant.core.nearest import among
from assistant.errors import FileProblem
from assistant.hearing_bench.mixing import CLEAN_DB

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

Made = TypeVar("Made")


def opened(path: Path) -> StrictReader:
    """The object in a JSON file.

    Raises:
        FileProblem: It cannot be read, is not JSON, or is no object.
    """
    try:
        data = files.read_bytes(path, files.SETTINGS)
    except OSError as error:
        raise FileProblem(path, 0, f"the manifest cannot be read ({error.strerror})") from error
    try:
        json.loads(data)
    except (ValueError, RecursionError) as error:
        line = getattr(error, "lineno", 0)
        raise FileProblem(path, line, "this is not JSON", "Write one object") from error
    return StrictReader(path, tree.parse(data, str(path)))


class StrictReader:
    """A map of the file: each part is taken once, by name; leftovers are mistakes."""

    def __init__(self, path: Path, node: tree.Node) -> None:
        if not isinstance(node, tree.MapNode):
            raise FileProblem(path, node.line, f"this is {tree.type_names[type(node).__name__]}", "Write {…}")
        self.path, self.node, self.line = path, node, node.line
        self._left = dict(node.items)
        self._left.pop("about", None)

    def wrong(self, name: str, what: str) -> FileProblem:
        """A mistake about a part, with its line."""
        return FileProblem(self.path, self.node.key_lines.get(name, self.line), f"'{name}' {what}")

    def take(self, name: str) -> tree.Node:
        """The node of a part, taken once.

        Raises:
            FileProblem: It is missing.
        """
        if name not in self._left:
            raise FileProblem(self.path, self.line, f"'{name}' is missing", "Add it")
        return self._left.pop(name)

    def has(self, name: str) -> bool:
        """Whether a part is there and not taken yet."""
        return name in self._left

    def end(self) -> None:
        """Refuse what nobody took.

        Raises:
            FileProblem: Something is left over.
        """
        for name in self._left:
            known = [taken for taken in self.node.items if taken not in self._left]
            raise FileProblem(
                self.path, self.node.key_lines[name], f"'{name}' means nothing here", among(name, known)
            )

    # --- values ---

    def text(self, name: str) -> str:
        """A text."""
        node = self.take(name)
        if not isinstance(node, tree.TextNode):
            raise self.wrong(name, "is not a text")
        return node.value

    def known(self, name: str, known: tuple[str, ...]) -> str:
        """A text out of some."""
        text = self.text(name)
        if text not in known:
            raise self.wrong(name, f"is not one of {', '.join(known)}")
        return text

    def numbers(self, name: str, least: float, most: float) -> tuple[float, ...]:
        """A list of numbers between two limits."""
        return tuple(self._number(name, node, least, most) for node in self.items(name))

    def number(self, name: str, least: float, most: float) -> float:
        """A number between two limits."""
        return self._number(name, self.take(name), least, most)

    def whole(self, name: str, least: int, most: int) -> int:
        """A whole number between two limits."""
        value = self.number(name, least, most)
        if value != int(value):
            raise self.wrong(name, "is not a whole number")
        return int(value)

    def _number(self, name: str, node: tree.Node, least: float, most: float) -> float:
        try:
            value = float(node.value) if isinstance(node, tree.TextNode) and not node.quoted else None
        except ValueError:
            value = None
        if value is None or not least <= value <= most:
            raise self.wrong(name, f"is not a number from {least:g} to {most:g}")
        return value

    def items(self, name: str) -> list[tree.Node]:
        """The nodes of a list."""
        node = self.take(name)
        if not isinstance(node, tree.ListNode):
            raise self.wrong(name, "is no list")
        return node.items

    def texts(self, name: str, known: tuple[str, ...] | None = None) -> tuple[str, ...]:
        """A list of texts; of known ones only, if they are given."""
        return tuple(text for text, _ in self.lines(name, known))

    def lines(self, name: str, known: tuple[str, ...] | None = None) -> list[tuple[str, int]]:
        """The same with the line of each."""
        found = []
        for node in self.items(name):
            if not isinstance(node, tree.TextNode):
                raise self.wrong(name, "holds something that is not a text")
            if known is not None and node.value not in known:
                raise FileProblem(
                    self.path, node.line, f"there is no '{node.value}' here", among(node.value, known)
                )
            found.append((node.value, node.line))
        return found

    def pair(self, name: str, least: float, most: float) -> tuple[float, float]:
        """Two numbers, the smaller one first."""
        values = [self._number(name, node, least, most) for node in self.items(name)]
        if len(values) != 2 or values[0] > values[1]:
            raise self.wrong(name, "is not two numbers, the smaller one first")
        return values[0], values[1]

    def levels(self, name: str) -> tuple[float, ...]:
        """Ratios in dB; "clean" is `CLEAN_DB`."""
        return tuple(
            CLEAN_DB
            if isinstance(node, tree.TextNode) and node.value == "clean"
            else self._number(name, node, -20, 60)
            for node in self.items(name)
        )

    def map(self, name: str, make: Callable[[StrictReader, str], Made]) -> dict[str, Made]:
        """A map, made entry by entry."""
        node = self.take(name)
        if not isinstance(node, tree.MapNode):
            raise self.wrong(name, "is not a map of names")
        inner = StrictReader(self.path, node)
        return {key: make(inner, key) for key in list(inner._left)}

    def each(self, name: str, make: Callable[[StrictReader], Made]) -> tuple[Made, ...]:
        """A list of maps, each made and used up."""
        made = []
        for node in self.items(name):
            reader = StrictReader(self.path, node)
            made.append(make(reader))
            reader.end()
        return tuple(made)

    def inner(self, name: str, make: Callable[[StrictReader], Made]) -> Made:
        """A map, made and used up."""
        reader = StrictReader(self.path, self.take(name))
        made = make(reader)
        reader.end()
        return made
