"""The syntax tree of a grammar file: frozen dataclasses that carry their line."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Iterator


@dataclass(frozen=True)
class Token:
    """A spoken word; a quoted token may hold several words."""

    text: str
    line: int

    def words(self) -> tuple[str, ...]:
        """The words, in order."""
        return tuple(self.text.split())


@dataclass(frozen=True)
class Reference:
    """The name of a rule, between angle brackets, as written: simple, qualified or fully qualified."""

    name: str
    line: int


@dataclass(frozen=True)
class Null:
    """``<NULL>``: matches without a word."""

    line: int


@dataclass(frozen=True)
class Void:
    """``<VOID>``: can never be said."""

    line: int


@dataclass(frozen=True)
class Sequence:
    """Expansions that are spoken one after the other."""

    items: tuple[Expansion, ...]
    line: int


@dataclass(frozen=True)
class Alternatives:
    """Expansions of which one is spoken.

    Attributes:
        weights: Relative likelihood of each; empty if the file gives none.
    """

    items: tuple[Expansion, ...]
    weights: tuple[float, ...]
    line: int


@dataclass(frozen=True)
class Optional:
    """``[ ]``: may be left out."""

    item: Expansion
    line: int


@dataclass(frozen=True)
class Repeat:
    """``*`` (`at_least` 0) or ``+`` (`at_least` 1)."""

    item: Expansion
    at_least: int
    line: int


@dataclass(frozen=True)
class Tagged:
    """An expansion with its tag, unescaped and stripped of whitespace."""

    item: Expansion
    tag: str
    line: int


Expansion: TypeAlias = Token | Reference | Null | Void | Sequence | Alternatives | Optional | Repeat | Tagged


@dataclass(frozen=True)
class Rule:
    """A rule: its simple name, whether other grammars may use it, and its expansion."""

    name: str
    public: bool
    expansion: Expansion
    line: int


@dataclass(frozen=True)
class Import:
    """``import <grammar.rule>;`` or ``import <grammar.*>;``: `rule` is None for all public rules."""

    grammar: str
    rule: str | None
    line: int


@dataclass(frozen=True)
class Grammar:
    """One grammar file."""

    path: Path
    name: str
    encoding: str
    locale: str
    imports: tuple[Import, ...]
    rules: dict[str, Rule]
    line: int


def references(expansion: Expansion) -> Iterator[Reference]:
    """Every rule name that an expansion uses, in order."""
    if isinstance(expansion, Reference):
        yield expansion
    elif isinstance(expansion, Sequence | Alternatives):
        for item in expansion.items:
            yield from references(item)
    elif isinstance(expansion, Optional | Repeat | Tagged):
        yield from references(expansion.item)
