"""Every phrase of a grammar rule, with its tags and the place of each word."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.errors import FileProblem
from assistant.grammar import jsgf
from assistant.grammar.compiling import DEEPEST
from assistant.grammar.counting import SizeCounter
from assistant.grammar.network import Position

if TYPE_CHECKING:
    from collections.abc import Iterator


@dataclass(frozen=True)
class Word:
    """A spoken word and its place."""

    text: str
    place: Position


@dataclass(frozen=True)
class Tag:
    """A tag and its place."""

    text: str
    place: Position


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


def phrases(linked: jsgf.Linked, rule: str, counter: SizeCounter | None = None) -> list[Phrase]:
    """Every phrase of a rule, in the order of the file; an optional part is first left out, then included.

    Args:
        linked: The grammars.
        rule: The rule's fully qualified name.
        counter: Counts the phrases of all rules of a folder together; None counts only this rule.

    Raises:
        FileProblem: The rule is endless (``*``, ``+``, recursion) or has too many phrases.
    """
    (counter or SizeCounter(linked)).check_phrases(rule)
    return list(_expand(linked, linked.rules[rule].expansion, rule, 0))


def _expand(linked: jsgf.Linked, item: jsgf.Expansion, rule: str, depth: int) -> Iterator[Phrase]:
    place = Position(str(linked.path(rule)), item.line)
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
    # Counting has refused repetitions, and <VOID> has no phrases.


def _sequence(
    linked: jsgf.Linked, items: tuple[jsgf.Expansion, ...], rule: str, depth: int
) -> Iterator[Phrase]:
    """Parts one after the other, the left part slowest, without recursion for long sequences."""
    partial = [Phrase()]
    for item in items:
        after = list(_expand(linked, item, rule, depth))
        partial = [one + other for one in partial for other in after]
    yield from partial
