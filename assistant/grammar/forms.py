"""The spoken forms of the names in the grammars."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.grammar.network import Position
from assistant.grammar.phrases import Phrase

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator


@dataclass(frozen=True)
class LeftOut:
    """A form that a step grammar leaves out, and why."""

    words: str
    place: Position
    why: str


@dataclass(frozen=True)
class Forms:
    """The spoken forms of every name of one kind, in the order of the files."""

    of: dict[str, tuple[Phrase, ...]]

    def only(self, names: Iterable[str]) -> Forms:
        """The forms of these names alone, in their order."""
        return Forms({name: self.of[name] for name in names})

    def each(self) -> Iterator[tuple[str, Phrase]]:
        """Every form with its name."""
        for name, forms in self.of.items():
            for form in forms:
                yield name, form
