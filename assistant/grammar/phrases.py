"""Every phrase of a grammar rule, with its tags and with where each word stands."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.errors import FileProblem
from assistant.grammar import jsgf
from assistant.grammar.network import DEEPEST, Place

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST_PHRASES = 5000
"""Most phrases of one rule; a rule of this program has a few dozen."""


@dataclass(frozen=True)
class Word:
    """A spoken word and where it stands."""

    text: str
    place: Place


@dataclass(frozen=True)
class Tag:
    """A tag and where it stands."""

    text: str
    place: Place


@dataclass(frozen=True)
class Phrase:
    """One way to say something."""

    words: tuple[Word, ...] = ()
    tags: tuple[Tag, ...] = ()

    @property
    def text(self) -> tuple[str, ...]:
        """The words alone."""
        return tuple(word.text for word in self.words)

    def __str__(self) -> str:
        return " ".join(self.text)

    def __add__(self, other: Phrase) -> Phrase:
        return Phrase(self.words + other.words, self.tags + other.tags)


def phrases(linked: jsgf.Linked, rule: str) -> list[Phrase]:
    """Every phrase of a rule, in the order of the file; what may be left out is left out first.

    Raises:
        FileProblem: The rule has no end (``*``, ``+``, recursion), or too many phrases.
    """
    source = linked.rules[rule]
    path = str(linked.path(rule))
    found = list(itertools.islice(_expand(linked, source.expansion, rule, 0), MOST_PHRASES + 1))
    if len(found) > MOST_PHRASES:
        raise FileProblem(
            path, source.line, f"<{source.name}> has more than {MOST_PHRASES} phrases", "Split the rule"
        )
    return found


def _expand(linked: jsgf.Linked, item: jsgf.Expansion, rule: str, depth: int) -> Iterator[Phrase]:
    place = Place(str(linked.path(rule)), item.line)
    if depth > DEEPEST:
        raise FileProblem(
            place.file, place.line, "rules are nested too deep or without end", f"At most {DEEPEST} levels"
        )
    if isinstance(item, jsgf.Token):
        yield Phrase(tuple(Word(word, place) for word in item.words()))
    elif isinstance(item, jsgf.Null):
        yield Phrase()
    elif isinstance(item, jsgf.Reference):
        target = linked.target(rule.rpartition(".")[0], item.name)
        yield from _expand(linked, linked.rules[target].expansion, target, depth + 1)
    elif isinstance(item, jsgf.Alternatives):
        for part in item.items:
            yield from _expand(linked, part, rule, depth + 1)
    elif isinstance(item, jsgf.Sequence):
        yield from _sequence(linked, item.items, rule, depth + 1)
    elif isinstance(item, jsgf.Optional):
        yield Phrase()
        yield from _expand(linked, item.item, rule, depth + 1)
    elif isinstance(item, jsgf.Tagged):
        tag = Phrase(tags=(Tag(item.tag, place),))
        for phrase in _expand(linked, item.item, rule, depth + 1):
            yield tag + phrase
    elif isinstance(item, jsgf.Repeat):
        raise FileProblem(
            place.file,
            place.line,
            f"'{'+' if item.at_least else '*'}' makes phrases without end",
            "Write out how often it may be said",
        )


def _sequence(
    linked: jsgf.Linked, items: tuple[jsgf.Expansion, ...], rule: str, depth: int
) -> Iterator[Phrase]:
    """Parts one after the other, left part slowest; long sequences without recursion in the stack."""
    partial = [Phrase()]
    for item in items:
        partial = list(
            itertools.islice(
                (before + after for before in partial for after in _expand(linked, item, rule, depth)),
                MOST_PHRASES + 1,
            )
        )
    yield from partial
