"""Word networks: a rule as states and arcs, and deterministic, minimised acceptors.

A `Network` is built from a linked JSGF rule; its arcs carry words and tags.
A recogniser's graph is written from an `Automaton`: it has no tags, one arc for each word and state, and no two
states that the same words can follow.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

from assistant.errors import FileProblem, UsageProblem
from assistant.grammar import jsgf

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

DEEPEST = 100
"""Deepest nesting of rules and brackets while a network is built."""

MOST_STATES = 100_000
"""Largest number of states in a network; this program's largest, that of numbers, has some hundreds."""

MOST_SUBSETS = 20_000
"""Largest number of states in an acceptor while it is built; this program's largest has some hundreds."""

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


def compile_rule(linked: jsgf.Linked, rule: str) -> Network:
    """The network of a rule, given by its fully qualified name.

    Raises:
        FileProblem: Rules are nested more than `DEEPEST` deep.
    """
    return _Compiler(linked).network(rule)


class _Compiler:
    """Builds each expansion towards a known state, so right recursion becomes an arc back."""

    def __init__(self, linked: jsgf.Linked) -> None:
        self.linked = linked
        self.arcs: list[list[Arc]] = []
        self.entries: dict[tuple[str, int], int] = {}

    def network(self, rule: str) -> Network:
        final = self.state()
        start = self.rule(rule, final, 0)
        return Network(tuple(tuple(arcs) for arcs in self.arcs), start, final).trimmed()

    def state(self) -> int:
        self.arcs.append([])
        return len(self.arcs) - 1

    def rule(self, rule: str, after: int, depth: int) -> int:
        if (rule, after) not in self.entries:
            entry = self.state()
            self.entries[rule, after] = entry
            source = self.linked.rules[rule]
            place = Position(str(self.linked.path(rule)), source.line)
            if len(self.arcs) > MOST_STATES:
                raise FileProblem(
                    place.file,
                    place.line,
                    f"the rules write out as more than {MOST_STATES} words",
                    "Use fewer",
                )
            inner = self.build(source.expansion, after, rule, depth + 1)
            self.arcs[entry].append(Arc(None, None, inner, place))
        return self.entries[rule, after]

    def build(self, item: jsgf.Expansion, after: int, rule: str, depth: int) -> int:
        place = Position(str(self.linked.path(rule)), item.line)
        if depth > DEEPEST:
            raise FileProblem(
                place.file, place.line, "rules are nested too deep", f"At most {DEEPEST} levels"
            )
        if isinstance(item, jsgf.Token):
            for word in reversed(item.words()):
                before = self.state()
                self.arcs[before].append(Arc(word, None, after, place))
                after = before
            return after
        if isinstance(item, jsgf.Null):
            return after
        if isinstance(item, jsgf.Void):
            return self.state()
        if isinstance(item, jsgf.Reference):
            return self.rule(self.linked.target(rule.rpartition(".")[0], item.name), after, depth)
        if isinstance(item, jsgf.Sequence):
            for part in reversed(item.items):
                after = self.build(part, after, rule, depth + 1)
            return after
        entry = self.state()
        if isinstance(item, jsgf.Alternatives):
            for part in item.items:
                self.arcs[entry].append(Arc(None, None, self.build(part, after, rule, depth + 1), place))
        elif isinstance(item, jsgf.Optional):
            self.arcs[entry].append(Arc(None, None, after, place))
            self.arcs[entry].append(Arc(None, None, self.build(item.item, after, rule, depth + 1), place))
        elif isinstance(item, jsgf.Tagged):
            self.arcs[entry].append(Arc(None, item.tag, self.build(item.item, after, rule, depth + 1), place))
        else:
            self.arcs[entry].append(Arc(None, None, after, place))
            inner = self.build(item.item, entry, rule, depth + 1)
            self.arcs[entry].append(Arc(None, None, inner, place))
            if item.at_least:
                return inner
        return entry


# --- acceptors ------------------------------------------------------------------------------------

Pieces: TypeAlias = "list[list[tuple[str | None, int]]]"


@dataclass
class Builder:
    """A word network without tags under construction, from phrases and from networks."""

    arcs: Pieces = field(default_factory=list)

    def state(self) -> int:
        """A new state."""
        self.arcs.append([])
        return len(self.arcs) - 1

    def skip(self, before: int, after: int) -> None:
        """Connect two states without a word."""
        self.arcs[before].append((None, after))

    def phrase(self, words: Iterable[str], before: int, after: int) -> None:
        """Add these words between two states."""
        for word in words:
            following = self.state()
            self.arcs[before].append((word, following))
            before = following
        self.skip(before, after)

    def network(self, network: Network, before: int, after: int) -> None:
        """Add a whole network between two states."""
        offset = len(self.arcs)
        self.arcs.extend([(a.word, a.target + offset) for a in arcs] for arcs in network.arcs)
        self.skip(before, network.start + offset)
        self.skip(network.final + offset, after)


@dataclass(frozen=True)
class Automaton:
    """A deterministic, minimal word acceptor of a finite language.

    Attributes:
        states: For each state, the words that can follow and the state each leads to.
        start: State in which every phrase begins.
        finals: States in which the words so far are a complete phrase.
    """

    states: list[dict[str, int]]
    start: int
    finals: set[int]

    def state_after(self, words: Sequence[str]) -> int | None:
        """The state after these words; None if no phrase begins with them."""
        state: int | None = self.start
        for word in words:
            if state is None:
                return None
            state = self.states[state].get(word)
        return state

    def accepts(self, words: Sequence[str]) -> bool:
        """Whether these words, as a whole, are a phrase."""
        return self.state_after(words) in self.finals

    @classmethod
    def of(cls, pieces: Builder, start: int, end: int) -> Automaton:
        """The minimal deterministic acceptor of everything that leads from `start` to `end`.

        The pieces must be free of loops, as the phrases of a step always are.
        First it collects the subsets of states that the same words lead to. Then, from the end backwards, it
        merges states that the same words can follow (it looks each state up by its finality and arcs, which is
        exact for a language without loops).

        Raises:
            UsageProblem: There are more than `MOST_SUBSETS` of them.
        """
        closed: dict[int, frozenset[int]] = {}

        def closure(state: int) -> frozenset[int]:
            if state not in closed:
                seen, todo = {state}, [state]
                while todo:
                    for word, target in pieces.arcs[todo.pop()]:
                        if word is None and target not in seen:
                            seen.add(target)
                            todo.append(target)
                closed[state] = frozenset(seen)
            return closed[state]

        first = closure(start)
        subsets: dict[frozenset[int], dict[str, frozenset[int]]] = {}
        todo = [first]
        while todo:
            subset = todo.pop()
            if subset in subsets:
                continue
            if len(subsets) >= MOST_SUBSETS:
                raise UsageProblem(
                    f"The phrases of a grammar make more than {MOST_SUBSETS} states. Write fewer choices one after "
                    "the other in which the same words can stand in many places."
                )
            following: dict[str, set[int]] = {}
            for state in subset:
                for word, target in pieces.arcs[state]:
                    if word is not None:
                        following.setdefault(word, set()).update(closure(target))
            subsets[subset] = {word: frozenset(targets) for word, targets in following.items()}
            todo.extend(subsets[subset].values())

        merged: dict[frozenset[int], int] = {}
        register: dict[tuple[bool, tuple[tuple[str, int], ...]], int] = {}
        made: list[tuple[bool, tuple[tuple[str, int], ...]]] = []
        for subset in _leaves_first(subsets, first):
            arcs = sorted((word, merged[target]) for word, target in subsets[subset].items())
            live = tuple((word, target) for word, target in arcs if made[target][0] or made[target][1])
            form = (end in subset, live)
            if form not in register:
                register[form] = len(made)
                made.append(form)
            merged[subset] = register[form]

        # States are numbered from the start outwards, so the same language always gives the same table.
        order = {merged[first]: 0}
        for state in (queue := [merged[first]]):
            for _, target in made[state][1]:
                if target not in order:
                    order[target] = len(order)
                    queue.append(target)
        states = [{word: order[target] for word, target in made[state][1]} for state in order]
        return cls(states, 0, {order[state] for state in order if made[state][0]})


def _leaves_first(
    subsets: dict[frozenset[int], dict[str, frozenset[int]]], first: frozenset[int]
) -> list[frozenset[int]]:
    done: dict[frozenset[int], None] = {}
    todo = [(first, False)]
    while todo:
        subset, visited = todo.pop()
        if visited:
            done[subset] = None
        elif subset not in done:
            todo.append((subset, True))
            todo.extend((target, False) for target in subsets[subset].values() if target not in done)
    return list(done)
