"""YAML text to a small tree that remembers lines, and refuses what YAML makes of innocent text.

PyYAML keeps the last of two equal keys, reads ``no`` as false and ``12:30`` as 750, and follows anchors into
exponential growth.
Here a file is maps, lists and plain texts, nothing else; every value stays the text that was typed.
The tree is built from the parser's events in a loop, so nesting cannot exhaust the stack.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

import yaml

from assistant.errors import FileProblem

LARGEST_FILE = 1 << 20
DEEPEST = 20

_QUICK = getattr(yaml, "CSafeLoader", None)
"""PyYAML's parser in C, ten times as quick; None if PyYAML was built without it.

Only what it reads without complaint is taken from it: the messages are those of the parser in Python.
"""

_FOREIGN = re.compile(r"[^\n -~\u00a0-\u024f\u0370-\u03ff\u2010-\u2027]|[|>][-+\d]*#")
"""Text that the two parsers may read differently: tabs, unusual line ends, a comment right behind a sign."""

MOST_NODES = 20_000
"""Most names, texts, lists and maps of one file; the largest of this program has some thousands."""


@dataclass
class TextNode:
    """A scalar as it was typed."""

    line: int
    value: str
    quoted: bool = False


@dataclass
class ListNode:
    """A list."""

    line: int
    items: list[Node] = field(default_factory=list)


@dataclass
class MapNode:
    """A map from text keys; `key_lines` tells where each key stands."""

    line: int
    items: dict[str, Node] = field(default_factory=dict)
    key_lines: dict[str, int] = field(default_factory=dict)


type_names = {"TextNode": "a text", "ListNode": "a list", "MapNode": "a map of names"}
Node = TextNode | ListNode | MapNode


def parse(data: bytes, path: str) -> MapNode:
    """Read one YAML document whose top is a map.

    Args:
        data: The file's bytes.
        path: The file's name for messages.

    Raises:
        FileProblem: Not UTF-8, not YAML, too large, too deep, an anchor, alias or tag, a key twice,
            a key that is not text, or not a map at the top.
    """
    if len(data) > LARGEST_FILE:
        raise FileProblem(
            path, 0, f"the file has {len(data)} bytes", f"At most {LARGEST_FILE} bytes are read"
        )
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise FileProblem(path, line, "this is not UTF-8 text", "Save the file as UTF-8") from error
    if _QUICK is not None and _read_alike(text):
        try:
            return _build(text, path, _QUICK)
        except (yaml.YAMLError, FileProblem):
            pass  # the other parser says what is wrong
    try:
        return _build(text, path, yaml.SafeLoader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = mark.line + 1 if mark else 0
        problem = " ".join(str(error.problem or error.context or "not YAML").split())
        raise FileProblem(
            path,
            line,
            f"this is not valid YAML: {problem}",
            "Check indentation, colons and quotes here and above",
        ) from error
    except yaml.YAMLError as error:
        line = 0
        position = getattr(error, "position", None)
        if isinstance(position, int):
            line = text[:position].count("\n") + 1
        raise FileProblem(
            path, line, "this is not valid YAML: it contains a character that YAML forbids"
        ) from error


def _read_alike(text: str) -> bool:
    """Whether both parsers read this alike: nothing foreign, and no question mark alone or near to brackets."""
    if _FOREIGN.search(text):
        return False
    if "?" not in text:
        return True
    for line in text.split("\n"):
        opened = max(line.rfind("["), line.rfind("{"))
        if opened > max(line.rfind("]"), line.rfind("}")):
            return False  # the brackets go on in the next line
        if "?" in line and (opened >= 0 or "?" in line.split()):
            return False
    return True


def _build(text: str, path: str, loader: Any) -> MapNode:
    builder = _Builder(path)
    for count, event in enumerate(yaml.parse(text, Loader=loader)):
        line = event.start_mark.line + 1 if event.start_mark else 0
        if count > MOST_NODES:
            raise FileProblem(
                path, line, f"the file has more than {MOST_NODES} names and texts", "Use several files"
            )
        if getattr(event, "anchor", None):
            raise FileProblem(path, line, "anchors and aliases are not supported", "Write the value out here")
        tag = getattr(event, "tag", None)
        if tag and not isinstance(event, yaml.DocumentStartEvent):
            raise FileProblem(
                path, line, f"the tag {tag} is not supported", "Write a plain text, list or map"
            )
        if isinstance(event, yaml.ScalarEvent):
            builder.add(TextNode(line, event.value, quoted=bool(event.style)))
        elif isinstance(event, yaml.SequenceStartEvent):
            builder.begin(ListNode(line))
        elif isinstance(event, yaml.MappingStartEvent):
            builder.begin(MapNode(line))
        elif isinstance(event, yaml.SequenceEndEvent | yaml.MappingEndEvent):
            builder.end()
        elif isinstance(event, yaml.DocumentStartEvent) and builder.top is not None:
            raise FileProblem(path, line, "a second document starts here", "Use one file for each procedure")
    if not isinstance(builder.top, MapNode):
        raise FileProblem(path, 0, "the file holds no map of names", "Start with 'procedure: NAME'")
    return builder.top


class _Builder:
    """The tree as far as it was read: what is open, and in each open map the key that waits for its value."""

    def __init__(self, path: str) -> None:
        self.top: Node | None = None
        self._path = path
        self._open: list[ListNode | MapNode] = []
        self._keys: list[tuple[str, int] | None] = []

    def begin(self, node: ListNode | MapNode) -> None:
        """Add a list or a map; what comes next belongs into it, until `end`."""
        self.add(node)
        self._open.append(node)
        self._keys.append(None)
        if len(self._open) > DEEPEST:
            raise FileProblem(
                self._path, node.line, f"nested deeper than {DEEPEST} levels", "Procedures need three or four"
            )

    def end(self) -> None:
        """The list or map that was begun last is complete."""
        self._open.pop()
        self._keys.pop()

    def add(self, node: Node) -> None:
        """Add an item to the open list; to the open map a key, or the value of the key that waits."""
        if not self._open:
            self.top = node
            return
        parent = self._open[-1]
        if isinstance(parent, ListNode):
            parent.items.append(node)
            return
        key = self._keys[-1]
        if key is None:
            self._keys[-1] = (self._new_key(node, parent), node.line)
        else:
            parent.items[key[0]] = node
            parent.key_lines[key[0]] = key[1]
            self._keys[-1] = None

    def _new_key(self, node: Node, parent: MapNode) -> str:
        if not isinstance(node, TextNode):
            raise FileProblem(
                self._path, node.line, "a name is expected before the colon", "Use a plain word"
            )
        if node.value in parent.items:
            raise FileProblem(
                self._path,
                node.line,
                f"'{node.value}' appears a second time, first in line {parent.key_lines[node.value]}",
                "Keep one of them",
            )
        return node.value
