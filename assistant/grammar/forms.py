"""The spoken forms of the names in the grammars."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.grammar.network import Position
from assistant.grammar.phrases import Phrase

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator


@dataclass(frozen=True)
class LeftOut:
    """A form that a step grammar leaves out, and why."""

    words: str
    place: Position
    why: str


@dataclass(frozen=True)
class Forms:
    """The spoken forms of every name of one kind, in the order of the files.

    Attributes:
        of: The forms of each name, the usual one first.
        lent: Forms of other names that a name takes over where those others cannot be said, each with the others:
            "solid" is steady, and where nothing can be steady it is lit.
    """

    of: dict[str, tuple[Phrase, ...]]
    lent: dict[str, tuple[tuple[Phrase, frozenset[str]], ...]] = field(default_factory=dict)

    def only(self, names: Iterable[str]) -> Forms:
        """The forms of these names alone, in their order, with the forms that are lent to them here."""
        wanted = tuple(names)
        return Forms({name: (*self.of[name], *self._lent_to(name, wanted)) for name in wanted})

    def _lent_to(self, name: str, wanted: Collection[str]) -> Iterator[Phrase]:
        for form, others in self.lent.get(name, ()):
            if others.isdisjoint(wanted) and form not in self.of[name]:
                yield form

    def each(self) -> Iterator[tuple[str, Phrase]]:
        """Every form with its name."""
        for name, forms in self.of.items():
            for form in forms:
                yield name, form
