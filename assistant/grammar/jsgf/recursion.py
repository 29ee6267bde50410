"""Recursion between rules: a network can hold right recursion, and no other."""

from __future__ import annotations

import graphlib
from typing import TYPE_CHECKING

from assistant.errors import FileProblem
from assistant.grammar.jsgf.tree import (
    Alternatives,
    Null,
    Optional,
    Reference,
    Repeat,
    Sequence,
    Tagged,
    Token,
    Void,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.grammar.jsgf.names import Linked
    from assistant.grammar.jsgf.tree import Expansion


def refuse_recursion(linked: Linked) -> None:
    """Allow right recursion (section on recursion); refuse a rule that begins with itself or encloses itself.

    Raises:
        FileProblem: A rule contains itself at its beginning or in its middle.
    """
    nullable = _nullable(linked)
    begins: dict[str, set[str]] = {key: set() for key in linked.rules}
    edges: dict[str, set[str]] = {key: set() for key in linked.rules}
    enclosed: list[tuple[str, str, int]] = []
    for key, rule in linked.rules.items():
        grammar = key.rpartition(".")[0]
        for reference, first, last in _positions(rule.expansion, linked, grammar, nullable):
            target = linked.target(grammar, reference.name)
            edges[key].add(target)
            if first:
                begins[key].add(target)
            if not last:
                enclosed.append((key, target, reference.line))
    try:
        graphlib.TopologicalSorter(begins).prepare()
    except graphlib.CycleError as error:
        cycle = list(reversed(error.args[1]))
        key = cycle[0]
        raise FileProblem(
            linked.path(key),
            linked.rules[key].line,
            "left recursion: " + " begins with ".join(f"<{name}>" for name in cycle[:6]),
            "Put the words that are spoken first before the rule's own name",
        ) from None
    try:
        graphlib.TopologicalSorter(edges).prepare()
    except graphlib.CycleError:
        reach: dict[str, set[str]] = {}
        for key, target, line in enclosed:
            if target not in reach:
                reach[target] = _reachable(edges, target)
            if key in reach[target]:
                raise FileProblem(
                    linked.path(key),
                    line,
                    f"<{linked.rules[key].name}> contains itself with something behind it",
                    "A rule may contain itself only at its very end (right recursion); use '*' or '+'",
                ) from None


def _reachable(edges: dict[str, set[str]], start: str) -> set[str]:
    seen, todo = {start}, [start]
    while todo:
        for target in edges[todo.pop()]:
            if target not in seen:
                seen.add(target)
                todo.append(target)
    return seen


def _nullable(linked: Linked) -> set[str]:
    """Rules that can match without a word, in one pass over the whole text.

    Each part waits for its own parts: a sequence for all of them, alternatives for one.
    """
    needs: list[int] = [1] * len(linked.rules)
    numbers = {key: number for number, key in enumerate(linked.rules)}
    users: dict[int, list[int]] = {}
    empty: list[int] = []

    def part(item: Expansion, grammar: str) -> int:
        if isinstance(item, Reference):
            return numbers[linked.target(grammar, item.name)]
        number = len(needs)
        needs.append(1)
        if isinstance(item, Null | Optional) or (isinstance(item, Repeat) and not item.at_least):
            empty.append(number)
        elif isinstance(item, Sequence | Alternatives):
            needs[number] = len(item.items) if isinstance(item, Sequence) else 1
            for one in item.items:
                users.setdefault(part(one, grammar), []).append(number)
        elif isinstance(item, Repeat | Tagged):
            users.setdefault(part(item.item, grammar), []).append(number)
        return number

    for key, rule in linked.rules.items():
        users.setdefault(part(rule.expansion, key.rpartition(".")[0]), []).append(numbers[key])
    found = set(empty)
    while empty:
        for user in users.get(empty.pop(), ()):
            needs[user] -= 1
            if needs[user] <= 0 and user not in found:
                found.add(user)
                empty.append(user)
    return {key for key, number in numbers.items() if number in found}


def _can_be_empty(item: Expansion, linked: Linked, grammar: str, nullable: set[str]) -> bool:
    if isinstance(item, Null | Optional):
        return True
    if isinstance(item, Token | Void):
        return False
    if isinstance(item, Reference):
        return linked.target(grammar, item.name) in nullable
    if isinstance(item, Sequence):
        return all(_can_be_empty(part, linked, grammar, nullable) for part in item.items)
    if isinstance(item, Alternatives):
        return any(_can_be_empty(part, linked, grammar, nullable) for part in item.items)
    return (isinstance(item, Repeat) and not item.at_least) or _can_be_empty(
        item.item, linked, grammar, nullable
    )


def _positions(
    item: Expansion,
    linked: Linked,
    grammar: str,
    nullable: set[str],
    *,
    first: bool = True,
    last: bool = True,
) -> Iterator[tuple[Reference, bool, bool]]:
    """Each reference, with whether it can come before any word and whether nothing can follow it."""
    if isinstance(item, Reference):
        yield item, first, last
    elif isinstance(item, Alternatives):
        for part in item.items:
            yield from _positions(part, linked, grammar, nullable, first=first, last=last)
    elif isinstance(item, Optional | Tagged):
        yield from _positions(item.item, linked, grammar, nullable, first=first, last=last)
    elif isinstance(item, Repeat):
        yield from _positions(item.item, linked, grammar, nullable, first=first, last=False)
    elif isinstance(item, Sequence):
        for index, part in enumerate(item.items):
            yield from _positions(
                part, linked, grammar, nullable, first=first, last=last and index == len(item.items) - 1
            )
            first = first and _can_be_empty(part, linked, grammar, nullable)
