"""Changes the text of the file of settings: one value is set or taken out, and every other sign stays as it is.

A new line is put in as text, below the last setting of its table, so that comments stay beside what they are about.
tomlkit changes what is already there, and keeps the comment behind it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import tomlkit
from tomlkit.items import InlineTable

from assistant.preferences.reading import statements

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.preferences.kinds import Value
    from assistant.preferences.reading import TomlStatement


def changed(text: str, key: str, value: Value | None) -> str:
    """The text with another value of a setting.

    Args:
        text: A text that is TOML, with plain line ends.
        key: Key of the setting, with its table: ``shop.name``.
        value: The new value; None takes the setting out.
    """
    path = tuple(key.split("."))
    every = list(statements(text))
    for one in every:
        inside = path[len(one.table) :]
        if not one.opens and one.table == path[: len(one.table)] and _holds(one.text, inside):
            return _replaced(text, one, inside, value)
    if value is None:
        return text
    for one in every:
        inside = path[len(one.table) :]
        if not one.opens and one.table == path[: len(one.table)] and _is_inline(one.text, inside[:-1]):
            return _replaced(text, one, inside, value)
    return _with_line(text, every, path, value)


def _put(found: Any, inside: Sequence[str], value: Value | None) -> None:
    for name in inside[:-1]:
        found = found[name]
    if value is None:
        del found[inside[-1]]
    else:
        found[inside[-1]] = value


def _at(found: Any, inside: Sequence[str]) -> Any:
    for name in inside:
        if not isinstance(found, dict) or name not in found:
            return None
        found = found[name]
    return found


def _holds(statement: str, inside: Sequence[str]) -> bool:
    return bool(inside) and _at(tomlkit.parse(statement), inside) is not None


def _is_inline(statement: str, inside: Sequence[str]) -> bool:
    return bool(inside) and isinstance(_at(tomlkit.parse(statement), inside), InlineTable)


def _replaced(text: str, statement: TomlStatement, inside: Sequence[str], value: Value | None) -> str:
    """The text with a changed statement; one that holds nothing any more is taken out with its line."""
    found = tomlkit.parse(statement.text)
    _put(found, inside, value)
    lines = text.split("\n")
    left = tomlkit.dumps(found).split("\n") if not _empty(found) else []
    return "\n".join([*lines[: statement.first - 1], *left, *lines[statement.last :]])


def _empty(found: Any) -> bool:
    """Whether nested tables hold no value."""
    return isinstance(found, dict) and all(_empty(value) for value in found.values())


def _with_line(text: str, every: Sequence[TomlStatement], path: tuple[str, ...], value: Value) -> str:
    """The text with a new line for a setting that it does not hold."""
    lines = text.split("\n")
    table = path[:-1]
    line = tomlkit.dumps({path[-1]: value}).rstrip("\n")
    heads = [one for one in every if one.opens]
    if not table:
        top = [one for one in every if one.table == ()]
        after = top[-1].last if top else _before_head(lines, heads[0]) if heads else _end(lines)
        more = [line, ""] if heads and not top else [line]
        return "\n".join([*lines[:after], *more, *lines[after:]])
    dotted = [one for one in every if one.table == () and _at(tomlkit.parse(one.text), table) is not None]
    if dotted and not any(one.table == table for one in heads):
        after = dotted[-1].last
        return "\n".join([*lines[:after], f"{'.'.join(table)}.{line}", *lines[after:]])
    own = [one for one in every if one.table == table]
    if own:
        return "\n".join([*lines[: own[-1].last], line, *lines[own[-1].last :]])
    after = _end(lines)
    gap = [""] if after else []
    return "\n".join([*lines[:after], *gap, f"[{'.'.join(table)}]", line, ""])


def _end(lines: Sequence[str]) -> int:
    """Number of lines up to the last one with anything in it."""
    after = len(lines)
    while after and not lines[after - 1].strip():
        after -= 1
    return after


def _before_head(lines: Sequence[str], head: TomlStatement) -> int:
    """Number of lines before the comment that stands right above the head of a table."""
    before = head.first - 1
    while before and lines[before - 1].lstrip().startswith("#"):
        before -= 1
    return before
