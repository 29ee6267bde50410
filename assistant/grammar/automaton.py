"""Deterministic, minimal acceptors of words, from which the graph of a recogniser is written.

An `Automaton` has no tags, one arc for each word and state, and no two states that the same words can follow.
A `Builder` puts it together from phrases and from networks.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

from assistant.errors import UsageProblem

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assistant.grammar.network import Network

MOST_SUBSETS = 20_000
"""Largest number of states in an acceptor while it is built; this program's largest has some hundreds."""

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
