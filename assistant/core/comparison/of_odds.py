"""What differs between two versions of ``odds.yaml``, number by number as they were typed.

The loaded odds sum to 1, so one number that changes would move them all; a person wants the one number.
"""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING

from assistant.core.comparison.change import About, Alteration, told
from assistant.core.library.tree import MapNode, TextNode, parse

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.core.comparison.change import Path

ODDS = "odds.yaml"


def odds_changes(before: bytes, after: bytes) -> list[Alteration]:
    """The numbers and words that differ.

    Args:
        before: The earlier file.
        after: The later file.

    Raises:
        FileProblem: One of them is not YAML.
    """
    one, other = _flat(before), _flat(after)
    found = []
    for path in dict.fromkeys((*one, *other)):
        was, now = one.get(path, ""), other.get(path, "")
        if was != now:
            what = path[-1] if len(path) > 2 else "number" if len(path) > 1 else f"'{path[0]}'"
            found.append(Alteration(ODDS, path, About.ODDS, told(what, was, now), was, now))
    return found


def _flat(data: bytes) -> dict[Path, str]:
    return dict(_leaves(parse(data, ODDS), ()))


def _leaves(node: MapNode, above: Path) -> Iterator[tuple[Path, str]]:
    for key, child in node.items.items():
        path = (*above, key)
        if isinstance(child, MapNode):
            yield from _leaves(child, path)
        elif isinstance(child, TextNode):
            yield path, _value(child.value)


def _value(text: str) -> str:
    """A number in its plainest form, so that 0.50 is 0.5; a text with single blanks."""
    try:
        value = Decimal(text)
    except InvalidOperation:
        return " ".join(text.split())
    return f"{value.normalize():f}" if value.is_finite() else text
