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
"""PyYAML's parser in C, ten times as quick; None where PyYAML was built without it.

Only what it reads without complaint is taken from it: the messages are those of the parser in Python.
"""

_FOREIGN = re.compile(r"[^\n -~\u00a0-\u024f\u0370-\u03ff\u2010-\u2027]|[|>][-+\d]*#")
"""What the two parsers may read differently: tabs, other ends of lines and the like, a comment right behind a sign."""

MOST_NODES = 20_000
"""Most names, texts, lists and maps of one file; the largest of this program has some thousands."""


@dataclass
class Text:
    """A scalar as it was typed."""

    line: int
    value: str
    quoted: bool = False


@dataclass
class Sequence:
    """A list."""

    line: int
    items: list[Node] = field(default_factory=list)


@dataclass
class Mapping:
    """A map from text keys; `key_lines` tells where each key stands."""

    line: int
    items: dict[str, Node] = field(default_factory=dict)
    key_lines: dict[str, int] = field(default_factory=dict)


type_names = {"Text": "a text", "Sequence": "a list", "Mapping": "a map of names"}
Node = Text | Sequence | Mapping


def parse(data: bytes, path: str) -> Mapping:
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
            path, line, "this is not valid YAML: it holds a character that YAML forbids"
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


def _build(text: str, path: str, loader: Any) -> Mapping:
    stack: list[Sequence | Mapping] = []
    keys: list[tuple[str, int] | None] = []
    top: Node | None = None

    def place(node: Node) -> None:
        nonlocal top
        if not stack:
            top = node
            return
        parent = stack[-1]
        if isinstance(parent, Sequence):
            parent.items.append(node)
            return
        key = keys[-1]
        if key is None:
            if not isinstance(node, Text):
                raise FileProblem(path, node.line, "a name is expected before the colon", "Use a plain word")
            if node.value in parent.items:
                first = parent.key_lines[node.value]
                raise FileProblem(
                    path,
                    node.line,
                    f"'{node.value}' stands here a second time, first in line {first}",
                    "Keep one of them",
                )
            keys[-1] = (node.value, node.line)
        else:
            parent.items[key[0]] = node
            parent.key_lines[key[0]] = key[1]
            keys[-1] = None

    for count, event in enumerate(yaml.parse(text, Loader=loader)):
        line = event.start_mark.line + 1 if event.start_mark else 0
        if count > MOST_NODES:
            raise FileProblem(
                path, line, f"the file has more than {MOST_NODES} names and texts", "Use several files"
            )
        if getattr(event, "anchor", None):
            raise FileProblem(path, line, "anchors and aliases are not read", "Write the value out here")
        tag = getattr(event, "tag", None)
        if tag and not isinstance(event, yaml.DocumentStartEvent):
            raise FileProblem(path, line, f"the tag {tag} is not read", "Write a plain text, list or map")
        if isinstance(event, yaml.ScalarEvent):
            place(Text(line, event.value, quoted=bool(event.style)))
        elif isinstance(event, yaml.SequenceStartEvent | yaml.MappingStartEvent):
            node: Sequence | Mapping = (
                Sequence(line) if isinstance(event, yaml.SequenceStartEvent) else Mapping(line)
            )
            place(node)
            stack.append(node)
            keys.append(None)
            if len(stack) > DEEPEST:
                raise FileProblem(
                    path, line, f"nested deeper than {DEEPEST} levels", "Procedures need three or four"
                )
        elif isinstance(event, yaml.SequenceEndEvent | yaml.MappingEndEvent):
            stack.pop()
            keys.pop()
        elif isinstance(event, yaml.DocumentStartEvent) and top is not None:
            raise FileProblem(path, line, "a second document starts here", "Use one file for each procedure")
    if not isinstance(top, Mapping):
        raise FileProblem(path, 0, "the file holds no map of names", "Start with 'procedure: NAME'")
    return top
