"""A rule of linked grammars, compiled into a word network."""

from __future__ import annotations

from assistant.errors import FileProblem
from assistant.grammar import jsgf
from assistant.grammar.network import Arc, Network, Position

DEEPEST = 100
"""Deepest nesting of rules and brackets while a network is built."""

MOST_STATES = 100_000
"""Largest number of states in a network; this program's largest, that of numbers, has some hundreds."""


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
