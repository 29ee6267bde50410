"""Counts how large a rule would become, before anything is expanded.

Twelve lines such as ``<a> = <b> <b>;`` write out as four thousand words, and with a choice of two at the end as more
phrases than there are atoms.
The counts are sums and products over the rules, each rule once, and stop growing at `BEYOND`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from assistant.errors import FileProblem
from assistant.grammar import jsgf
from assistant.grammar.compiling import DEEPEST, MOST_STATES

BEYOND = 10**12
"""Larger counts are cut off here."""

MOST_PHRASES = 5000
"""Largest number of phrases in one rule; a rule of this program has a few dozen."""

MOST_PIECES = 100_000
"""Largest number of words and tags in all phrases of a folder of grammars; this program has some thousands."""


@dataclass(frozen=True)
class Size:
    """The size to which a part of a grammar expands.

    Attributes:
        phrases: Number of phrases, including those that can never be said, because they are examined, too.
        pieces: Words and tags in all phrases together; an empty phrase counts as one.
    """

    phrases: int
    pieces: int


@dataclass
class SizeCounter:
    """Counts the rules of linked grammars, each rule once."""

    linked: jsgf.Linked
    _sizes: dict[str, Size] = field(default_factory=dict)
    _states: dict[str, int] = field(default_factory=dict)
    _within: set[str] = field(default_factory=set)
    _pieces: int = 0
    _all_states: int = 0

    def size(self, rule: str) -> Size:
        """The size to which a rule expands.

        Raises:
            FileProblem: It is endless (``*``, ``+``, recursion), or rules are nested too deep.
        """
        return self._size_of_rule(rule, 0, self.linked.rules[rule].line)

    def check_phrases(self, rule: str) -> None:
        """Check that this rule, with all rules checked before it, does not have too many phrases.

        Raises:
            FileProblem: It has too many (the message says how many), or it is endless (``*``, ``+``,
                recursion).
        """
        source = self.linked.rules[rule]
        size = self.size(rule)
        path = self.linked.path(rule)
        if size.phrases > MOST_PHRASES:
            raise FileProblem(
                path,
                source.line,
                f"<{source.name}> has more than {MOST_PHRASES} phrases ({_told(size.phrases)})",
                "Split the rule",
            )
        self._pieces += size.pieces
        if self._pieces > MOST_PIECES:
            raise FileProblem(
                path,
                source.line,
                f"with <{source.name}> the phrases of all rules have more than {MOST_PIECES} words "
                f"({_told(self._pieces)})",
                "Write shorter phrases, or fewer",
            )

    def check_network(self, rule: str) -> None:
        """Check that the network of this rule, with all rules checked before it, is not too large.

        Raises:
            FileProblem: It is too large; the message says how large.
        """
        source = self.linked.rules[rule]
        self._all_states += self._states_of_rule(rule, 0)
        if self._all_states > MOST_STATES:
            raise FileProblem(
                self.linked.path(rule),
                source.line,
                f"with <{source.name}> the rules write out as more than {MOST_STATES} words "
                f"({_told(self._all_states)})",
                "A rule that uses another one twice doubles it: use fewer, or write it out",
            )

    # --- phrases ---

    def _size_of_rule(self, rule: str, depth: int, line: int) -> Size:
        if rule in self._within:
            raise FileProblem(
                self.linked.path(rule),
                line,
                f"<{self.linked.rules[rule].name}> contains itself, which makes phrases without end",
                "Write out how often it may be said",
            )
        if rule not in self._sizes:
            self._within.add(rule)
            try:
                self._sizes[rule] = self._size(self.linked.rules[rule].expansion, rule, depth + 1)
            finally:
                self._within.discard(rule)
        return self._sizes[rule]

    def _size(self, item: jsgf.Expansion, rule: str, depth: int) -> Size:
        if depth > DEEPEST:
            raise self._too_deep(item, rule)
        if isinstance(item, jsgf.Token):
            return Size(1, len(item.words()))
        if isinstance(item, jsgf.Null | jsgf.Void):
            return Size(1, 1)
        if isinstance(item, jsgf.Reference):
            target = self.linked.target(rule.rpartition(".")[0], item.name)
            return self._size_of_rule(target, depth, item.line)
        if isinstance(item, jsgf.Repeat):
            raise FileProblem(
                self.linked.path(rule),
                item.line,
                f"'{'+' if item.at_least else '*'}' makes phrases without end",
                "Write out how often it may be said",
            )
        if isinstance(item, jsgf.Sequence):
            phrases, pieces = 1, 0
            for part in item.items:
                size = self._size(part, rule, depth + 1)
                pieces = min(BEYOND, pieces * size.phrases + size.pieces * phrases)
                phrases = min(BEYOND, phrases * size.phrases)
            return Size(phrases, pieces)
        if isinstance(item, jsgf.Alternatives):
            sizes = [self._size(part, rule, depth + 1) for part in item.items]
            return Size(
                min(BEYOND, sum(size.phrases for size in sizes)),
                min(BEYOND, sum(size.pieces for size in sizes)),
            )
        inner = self._size(item.item, rule, depth + 1)
        if isinstance(item, jsgf.Optional):
            return Size(min(BEYOND, inner.phrases + 1), min(BEYOND, inner.pieces + 1))
        return Size(inner.phrases, min(BEYOND, inner.pieces + inner.phrases))

    # --- the network ---

    def _states_of_rule(self, rule: str, depth: int) -> int:
        """Largest number of states that it takes; a rule that ends in itself reuses the states that it has."""
        if rule in self._within:
            return 1
        if rule not in self._states:
            self._within.add(rule)
            try:
                self._states[rule] = min(
                    BEYOND, 1 + self._states_of(self.linked.rules[rule].expansion, rule, depth + 1)
                )
            finally:
                self._within.discard(rule)
        return self._states[rule]

    def _states_of(self, item: jsgf.Expansion, rule: str, depth: int) -> int:
        if depth > DEEPEST:
            raise self._too_deep(item, rule)
        if isinstance(item, jsgf.Token):
            return len(item.words())
        if isinstance(item, jsgf.Null):
            return 0
        if isinstance(item, jsgf.Void):
            return 1
        if isinstance(item, jsgf.Reference):
            return self._states_of_rule(self.linked.target(rule.rpartition(".")[0], item.name), depth)
        if isinstance(item, jsgf.Sequence | jsgf.Alternatives):
            return min(BEYOND, 1 + sum(self._states_of(part, rule, depth + 1) for part in item.items))
        return min(BEYOND, 1 + self._states_of(item.item, rule, depth + 1))

    def _too_deep(self, item: jsgf.Expansion, rule: str) -> FileProblem:
        return FileProblem(
            self.linked.path(rule), item.line, "rules are nested too deep", f"At most {DEEPEST} levels"
        )


def _told(count: int) -> str:
    return f"{count}" if count < BEYOND else f"{BEYOND} or more"
