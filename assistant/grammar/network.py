"""Word networks: the phrases of a rule as states and arcs that carry words and tags.

`assistant.grammar.compiling` builds a `Network` from a linked JSGF rule.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

MOST_READINGS = 1000
"""Largest number of ways to tag the same words; a number of this program has one."""


@dataclass(frozen=True)
class Position:
    """A place in the grammar files."""

    file: str
    line: int


@dataclass(frozen=True)
class Arc:
    """A step from one state to another that speaks `word`, or nothing if it is None; `tag` comes before it."""

    word: str | None
    tag: str | None
    target: int
    place: Position


@dataclass(frozen=True)
class Network:
    """A rule as states and arcs, with one final state from which no arc leaves."""

    arcs: tuple[tuple[Arc, ...], ...]
    start: int
    final: int
    _known_moves: dict[int, list[tuple[str | None, tuple[str, ...], int]]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def accepts(self, words: Sequence[str]) -> bool:
        """Whether these words, as a whole, can be said."""
        states = self._closure({self.start})
        for word in words:
            states = self._closure({a.target for s in states for a in self.arcs[s] if a.word == word})
        return self.final in states

    def tags(self, words: Sequence[str]) -> set[tuple[str, ...]]:
        """The tags of every way to say these words, in order; none if there are more than `MOST_READINGS` ways.

        Only for a network without loops in which `crowded` finds nothing.
        """
        paths: set[tuple[int, tuple[str, ...]]] = {(self.start, ())}
        for word in words:
            paths = {
                (target, before + tags)
                for state, before in paths
                for said, tags, target in self._moves(state)
                if said == word
            }
            if len(paths) > MOST_READINGS:
                return set()
        return {
            before + tags for state, before in paths for said, tags, _ in self._moves(state) if said is None
        }

    def without(self, words: Collection[str]) -> Network:
        """The same network without the arcs that say one of these words."""
        return Network(
            tuple(tuple(a for a in arcs if a.word not in words) for arcs in self.arcs), self.start, self.final
        ).trimmed()

    def trimmed(self) -> Network:
        """The same network without dead ends, so that every walk reaches the end."""
        into: dict[int, set[int]] = {}
        for state, arcs in enumerate(self.arcs):
            for arc in arcs:
                into.setdefault(arc.target, set()).add(state)
        alive, todo = {self.final}, [self.final]
        while todo:
            for state in into.get(todo.pop(), ()):
                if state not in alive:
                    alive.add(state)
                    todo.append(state)
        kept = tuple(
            tuple(a for a in arcs if a.target in alive) if state in alive else ()
            for state, arcs in enumerate(self.arcs)
        )
        return Network(kept, self.start, self.final)

    def tags_in_use(self) -> dict[str, Position]:
        """Every tag on a path from start to end, with its place."""
        return {a.tag: a.place for a in self._reached_arcs() if a.tag is not None}

    def words_in_use(self) -> dict[str, Position]:
        """Every word on a path from start to end, with its first place."""
        found: dict[str, Position] = {}
        for arc in self._reached_arcs():
            if arc.word is not None:
                found.setdefault(arc.word, arc.place)
        return found

    def loop(self) -> Position | None:
        """The place where the network returns to an earlier state; None if every phrase must end."""
        colour = [0] * len(self.arcs)
        stack: list[tuple[int, int]] = [(self.start, 0)]
        colour[self.start] = 1
        while stack:
            state, index = stack.pop()
            if index == len(self.arcs[state]):
                colour[state] = 2
                continue
            stack.append((state, index + 1))
            arc = self.arcs[state][index]
            if colour[arc.target] == 1:
                return arc.place
            if colour[arc.target] == 0:
                colour[arc.target] = 1
                stack.append((arc.target, 0))
        return None

    def crowded(self) -> Position | None:
        """A place with over `MOST_READINGS` ways to the next words; only for a network without loops."""
        ways: dict[int, int] = {}
        for start in range(len(self.arcs)):
            todo = [start]
            while todo:
                state = todo[-1]
                silent = [arc.target for arc in self.arcs[state] if arc.word is None]
                missing = [target for target in silent if target not in ways]
                if missing:
                    todo += missing
                    continue
                ways[todo.pop()] = (
                    sum(ways[target] for target in silent) + len(self.arcs[state]) - len(silent) + 1
                )
                if ways[state] > MOST_READINGS:
                    return self.arcs[state][0].place
        return None

    def _reached_arcs(self) -> list[Arc]:
        seen, todo, found = {self.start}, [self.start], []
        while todo:
            for arc in self.arcs[todo.pop()]:
                found.append(arc)
                if arc.target not in seen:
                    seen.add(arc.target)
                    todo.append(arc.target)
        return sorted(found, key=lambda a: (a.place.file, a.place.line))

    def _closure(self, states: set[int]) -> set[int]:
        todo = list(states)
        while todo:
            for arc in self.arcs[todo.pop()]:
                if arc.word is None and arc.target not in states:
                    states.add(arc.target)
                    todo.append(arc.target)
        return states

    def _moves(self, state: int) -> list[tuple[str | None, tuple[str, ...], int]]:
        """Each word that can follow a state, or None for the end, with the tags before it."""
        if state not in self._known_moves:
            found: dict[tuple[str | None, tuple[str, ...], int], None] = {}
            todo: list[tuple[int, tuple[str, ...]]] = [(state, ())]
            while todo:
                at, tags = todo.pop()
                if at == self.final:
                    found[None, tags, at] = None
                for arc in self.arcs[at]:
                    after = tags if arc.tag is None else (*tags, arc.tag)
                    if arc.word is None:
                        todo.append((arc.target, after))
                    else:
                        found[arc.word, after, arc.target] = None
            self._known_moves[state] = list(found)
        return self._known_moves[state]
