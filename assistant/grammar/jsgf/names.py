"""The rule that each name in a grammar stands for."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.errors import FileProblem
from assistant.grammar.jsgf.tree import Grammar, Rule, references

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from assistant.grammar.jsgf.tree import Reference


@dataclass(frozen=True)
class Linked:
    """Grammars whose rule names have been resolved.

    Attributes:
        grammars: Every grammar by its full name.
        rules: Every rule by its fully qualified name, ``grammar.rule``.
    """

    grammars: dict[str, Grammar]
    rules: dict[str, Rule]
    _targets: dict[tuple[str, str], str] = field(repr=False)

    def target(self, grammar: str, name: str) -> str:
        """Fully qualified name of the rule that `name` stands for inside `grammar`."""
        return self._targets[grammar, name]

    def path(self, rule: str) -> Path:
        """File of a fully qualified rule."""
        return self.grammars[rule.rpartition(".")[0]].path


def resolve(grammars: Iterable[Grammar]) -> Linked:
    """Join grammars: find the rule that each name stands for.

    Raises:
        FileProblem: Two grammars share a name, a name is unknown or ambiguous, or an imported rule is not public.
    """
    by_name: dict[str, Grammar] = {}
    for grammar in grammars:
        if grammar.name in by_name:
            raise FileProblem(
                grammar.path,
                grammar.line,
                f"the grammar '{grammar.name}' is also in {by_name[grammar.name].path}",
                "Give one of them another name",
            )
        by_name[grammar.name] = grammar
    rules = {f"{g.name}.{r.name}": r for g in by_name.values() for r in g.rules.values()}
    targets = {}
    for grammar in by_name.values():
        _check_imports(grammar, by_name)
        for rule in grammar.rules.values():
            for reference in references(rule.expansion):
                targets[grammar.name, reference.name] = _target(grammar, reference, by_name)
    return Linked(by_name, rules, targets)


def _check_imports(grammar: Grammar, by_name: dict[str, Grammar]) -> None:
    for item in grammar.imports:
        other = by_name.get(item.grammar)
        if other is None:
            raise FileProblem(
                grammar.path,
                item.line,
                f"there is no grammar '{item.grammar}'",
                _did_you_mean(by_name, "Grammars here"),
            )
        if item.rule is None:
            continue
        if item.rule not in other.rules:
            raise FileProblem(
                grammar.path,
                item.line,
                f"the grammar '{item.grammar}' has no rule <{item.rule}>",
                _did_you_mean(
                    (name for name, rule in other.rules.items() if rule.public), "Its public rules"
                ),
            )
        if not other.rules[item.rule].public:
            raise FileProblem(
                grammar.path,
                item.line,
                f"the rule <{item.grammar}.{item.rule}> is not public",
                f"Write 'public' before it in {other.path}:{other.rules[item.rule].line}",
            )


def _did_you_mean(names: Iterable[str], label: str) -> str:
    listed = sorted(names)
    return f"{label}: {', '.join(listed[:20])}" if listed else f"{label}: none"


def _target(grammar: Grammar, reference: Reference, by_name: dict[str, Grammar]) -> str:
    """The specification's order: a rule of this grammar, an imported rule, a fully qualified name."""
    qualifier, _, simple = reference.name.rpartition(".")
    if not qualifier and simple in grammar.rules:
        return f"{grammar.name}.{simple}"
    found = set()
    for item in grammar.imports:
        other = by_name[item.grammar]
        fits = not qualifier or other.name == qualifier or other.name.endswith("." + qualifier)
        if fits and item.rule in (None, simple) and simple in other.rules and other.rules[simple].public:
            found.add(f"{other.name}.{simple}")
    if qualifier == grammar.name or (qualifier and grammar.name.endswith("." + qualifier)):
        found.update({f"{grammar.name}.{simple}"} if simple in grammar.rules else ())
    if not found and qualifier in by_name and simple in by_name[qualifier].rules:
        rule = by_name[qualifier].rules[simple]
        if not rule.public:
            raise FileProblem(
                grammar.path,
                reference.line,
                f"the rule <{reference.name}> is not public",
                f"Write 'public' before it in {by_name[qualifier].path}:{rule.line}",
            )
        found.add(reference.name)
    if len(found) > 1:
        raise FileProblem(
            grammar.path,
            reference.line,
            f"<{reference.name}> could be {' or '.join(f'<{name}>' for name in sorted(found))}",
            "Write the full name",
        )
    if not found:
        raise FileProblem(
            grammar.path,
            reference.line,
            f"no rule is named <{reference.name}>",
            _did_you_mean(grammar.rules, "Define or import it; the rules of this grammar are"),
        )
    return found.pop()
