"""Typed access to the tree of a file, with messages that name the file, the line and what would be right."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, TypeVar

from assistant.core import nearest
from assistant.core.library.tree import ListNode, MapNode, Node, TextNode, type_names
from assistant.errors import FileProblem

if TYPE_CHECKING:
    from collections.abc import Iterable
    from enum import StrEnum

LARGEST_NUMBER = 10**9
"""Largest number in a file of procedures, far above any that is measured."""

MOST_DECIMALS = 9
"""Most decimals of a number there."""

_SHOWN = 60
"""Signs of a wrong value that an error repeats."""

_Name = TypeVar("_Name", bound="StrEnum")


class Reader:
    """Typed access to one map of the tree; every miss is a `FileProblem` at its line."""

    def __init__(self, node: MapNode, path: str, what: str) -> None:
        self.node = node
        self.path = path
        self.what = what

    def only(self, keys: tuple[str, ...]) -> None:
        """Refuse every other key."""
        for key, line in self.node.key_lines.items():
            if key not in keys:
                raise FileProblem(
                    self.path, line, f"'{key}' is not known in {self.what}", nearest.among(key, keys)
                )

    def line(self, key: str) -> int:
        """Line of a key; that of the map where the key is missing."""
        return self.node.key_lines.get(key, self.node.line)

    def get(self, key: str) -> Node:
        """The node under this key."""
        if key not in self.node.items:
            raise FileProblem(self.path, self.node.line, f"{self.what} has no '{key}'", f"Add '{key}: …'")
        return self.node.items[key]

    def mapping(self, key: str) -> MapNode:
        """The map under this key."""
        return mapping_of(self.get(key), self.path, f"'{key}'")

    def get_text(self, key: str) -> TextNode:
        """The text under this key; empty only in quotes."""
        node = self.get(key)
        if not isinstance(node, TextNode):
            raise FileProblem(
                self.path,
                self.line(key),
                f"'{key}' of {self.what} is {type_names[type(node).__name__]}",
                "A text is expected",
            )
        if not node.value.strip() and not node.quoted:
            raise FileProblem(
                self.path, self.line(key), f"'{key}' of {self.what} is empty", 'Write a text, or "" for none'
            )
        return node

    def text(self, key: str, *, needed: bool = True) -> str:
        """The text under this key with single blanks; "" if it is missing and not needed."""
        if not needed and key not in self.node.items:
            return ""
        return " ".join(self.get_text(key).value.split())

    def flag(self, key: str) -> bool:
        """A true or false that may be missing; false then."""
        return key in self.node.items and self.one_of(key, ("true", "false")) == "true"

    def one_of(self, key: str, values: tuple[str, ...]) -> str:
        """One of these values."""
        return known_of(self.get_text(key), values, self.path, f"value of '{key}'")

    def texts(self, key: str, *, needed: bool = True) -> list[TextNode]:
        """A list of texts."""
        if not needed and key not in self.node.items:
            return []
        node = self.get(key)
        if not isinstance(node, ListNode):
            raise FileProblem(
                self.path,
                self.line(key),
                f"'{key}' of {self.what} is not a list",
                f"Write it as {key}: [one, two]",
            )
        found = []
        for item in node.items:
            if not isinstance(item, TextNode):
                raise FileProblem(self.path, item.line, f"'{key}' of {self.what} holds more than plain texts")
            found.append(TextNode(item.line, " ".join(item.value.split())))
        return found

    def names(self, key: str, known: Iterable[str], kind: str, *, needed: bool = True) -> tuple[str, ...]:
        """A list of known names, none twice."""
        names = tuple(known_of(text, known, self.path, kind) for text in self.texts(key, needed=needed))
        if len(set(names)) != len(names):
            raise FileProblem(self.path, self.line(key), f"'{key}' of {self.what} names something twice")
        return names

    def named(self, key: str, keys: tuple[str, ...]) -> Iterable[tuple[str, Reader]]:
        """A map of maps: the name of each with its reader."""
        for name, node in mapping_of(self.get(key), self.path, f"'{key}'").items.items():
            reader = Reader(mapping_of(node, self.path, f"'{name}'"), self.path, f"'{name}' in {key}")
            reader.only(keys)
            yield name, reader


def mapping_of(node: Node, path: str, what: str) -> MapNode:
    """This node as a map of names.

    Raises:
        FileProblem: It is a text or a list.
    """
    if not isinstance(node, MapNode):
        raise FileProblem(
            path,
            node.line,
            f"{what} is {type_names[type(node).__name__]}",
            "A map of names is expected, as in 'lit: {next: …}'",
        )
    return node


def known_of(text: TextNode, known: Iterable[str], path: str, kind: str) -> str:
    """A text that is one of the known names.

    Args:
        text: The text with its line.
        known: All names.
        path: The file's name for messages.
        kind: The kind of thing that the names are of, such as "step".

    Raises:
        FileProblem: It is another one.
    """
    names = list(known)
    if text.value not in names:
        raise FileProblem(
            path, text.line, f"there is no {kind} '{text.value}'", nearest.among(text.value, names)
        )
    return text.value


def member_of(kind: type[_Name], text: TextNode, path: str, what: str) -> _Name:
    """The member of an enumeration with this value; arguments and errors as for `known_of`."""
    return kind(known_of(text, [member.value for member in kind], path, what))


def number(text: TextNode, path: str) -> Decimal:
    """The number that a text is.

    Raises:
        FileProblem: It is not a number, or not one that anybody measures (`LARGEST_NUMBER`, `MOST_DECIMALS`).
    """
    shown = text.value if len(text.value) <= _SHOWN else f"{text.value[:_SHOWN]}…"
    try:
        value = Decimal(text.value if len(text.value) <= _SHOWN else "NaN")
    except InvalidOperation:
        value = Decimal("NaN")
    if not value.is_finite():
        raise FileProblem(
            path, text.line, f"'{shown}' is not a number", "Write it with a decimal point, as 9.6"
        )
    exponent = value.as_tuple().exponent
    # The exponent comes first: to compare some numbers takes all memory, or is an overflow.
    if not (isinstance(exponent, int) and -MOST_DECIMALS <= exponent <= 9 and abs(value) <= LARGEST_NUMBER):
        raise FileProblem(
            path,
            text.line,
            f"'{shown}' is not a number that can be meant here",
            f"Write one from -{LARGEST_NUMBER} to {LARGEST_NUMBER} with at most {MOST_DECIMALS} decimals",
        )
    return value


def stem(path: str) -> str:
    """The name of a file without its folder and its ending."""
    return path.replace("\\", "/").rpartition("/")[2].rpartition(".")[0]
