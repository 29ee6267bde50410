"""Phrases that might have been said instead of an answer: those of the step's grammar, and everyday words like it.

A grammar has hundreds of phrases, of which a few could be confused with the answer. So a bound comes first: every
phone of a phrase needs a step of its own, and costs there at least what it falls short of the likeliest output. Only
the phrases with the highest bounds get their sums.
"""

from __future__ import annotations

import itertools
import weakref
from collections.abc import Hashable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Self

import numpy as np
from numpy.typing import NDArray

from assistant.grammar.near_misses import everyday
from assistant.hearing.acoustics import OUTPUTS, PHONE_NUMBERS
from assistant.hearing.phone_sums import Floats, Phones

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from assistant.grammar.lexicon import Lexicon
    from assistant.grammar.step_grammar import StepGrammar

MOST_VARIANTS = 6
"""Pronunciations of a rival that are tried."""

COMPARED = 60
"""Phrases of the grammar whose sums are taken: those with the highest bounds."""

NEAR, NEAREST = 2.0, 0.3
"""Distances (`assistant.grammar.lexicon.distance`) of everyday words that are compared: nearer ones sound the same."""

MOST_NEAR = 60
"""Everyday words like each word of an answer that are looked at."""

LONGEST_WHOLE = 8
"""Phones of the longest answer of several words that one everyday word is compared with as a whole."""

_NAMES = {number: phone for phone, number in PHONE_NUMBERS.items()}
_KNOWN: weakref.WeakKeyDictionary[StepGrammar, RivalPhrases] = weakref.WeakKeyDictionary()


@dataclass(frozen=True)
class InPhones:
    """A phrase in one pronunciation.

    Attributes:
        words: Its words.
        phones: The outputs of its phones.
        of_word: For each phone the number of its word.
    """

    words: tuple[str, ...]
    phones: Phones
    of_word: tuple[int, ...]

    @classmethod
    def of(cls, words: Sequence[str], spoken: Sequence[Sequence[str]]) -> InPhones:
        """From words and the phones of each."""
        phones = tuple(PHONE_NUMBERS[phone] for said in spoken for phone in said)
        of_word = tuple(number for number, said in enumerate(spoken) for _ in said)
        return cls(tuple(words), phones, of_word)


def spellings(words: Sequence[str], lexicon: Lexicon, most: int = MOST_VARIANTS) -> list[Phones]:
    """The outputs of a phrase in at most so many pronunciations; none if a word has no pronunciation."""
    each = [lexicon.pronunciations(word) for word in words]
    if not words or not all(each):
        return []
    return [
        tuple(PHONE_NUMBERS[phone] for said in spoken for phone in said)
        for spoken in itertools.islice(itertools.product(*each), most)
    ]


def costs_of(likelihoods: Floats) -> Floats:
    """Least cost of one step of each output, against the likeliest output of that step; shape (outputs,)."""
    logs = np.log(likelihoods)
    return np.asarray((logs.max(axis=1, keepdims=True) - logs).min(axis=0))


@dataclass(frozen=True, eq=False)
class RivalPhrases:
    """The phrases of a grammar in all their pronunciations, one row each.

    Attributes:
        spoken: The outputs of each.
        meaning: The number of its meaning.
        numbers: The number of each meaning.
        counts: How often each output is in it, shape (rows, outputs).
    """

    spoken: tuple[Phones, ...]
    meaning: NDArray[np.intp]
    numbers: dict[Hashable, int]
    counts: Floats

    @classmethod
    def of(
        cls, phrases: Iterable[str], meaning_of: Callable[[str], Hashable | None], lexicon: Lexicon
    ) -> Self:
        """Those of the phrases that mean something."""
        numbers: dict[Hashable, int] = {}
        rows: dict[tuple[Phones, int], None] = {}
        for text in phrases:
            meaning = meaning_of(text)
            if meaning is None:
                continue
            number = numbers.setdefault(meaning, len(numbers))
            rows |= dict.fromkeys((phones, number) for phones in spellings(text.split(), lexicon))
        counts = np.zeros((len(rows), OUTPUTS))
        for row, (phones, _) in enumerate(rows):
            np.add.at(counts[row], list(phones), 1.0)
        spoken = tuple(phones for phones, _ in rows)
        return cls(spoken, np.array([number for _, number in rows], np.intp), numbers, counts)

    @classmethod
    def of_grammar(cls, grammar: StepGrammar) -> RivalPhrases:
        """Those of a step's grammar; the same for the same grammar, which is asked again and again."""
        if grammar not in _KNOWN:
            _KNOWN[grammar] = cls.of(grammar.phrases(), grammar.parse, grammar.lexicon)
        return _KNOWN[grammar]

    def likeliest(self, costs: Floats, meaning: Hashable, most: int = COMPARED) -> list[Phones]:
        """Phrases with another meaning than this one, those with the highest bounds."""
        if not self.spoken:
            return []
        bounds = self.counts @ costs
        bounds[self.meaning == self.numbers.get(meaning, -1)] = np.inf
        kept = np.argsort(bounds, kind="stable")[:most]
        return [self.spoken[row] for row in kept if np.isfinite(bounds[row])]


def alike(
    said: InPhones, costs: Floats, meaning_of: Callable[[str], object | None], most: int = COMPARED
) -> list[Phones]:
    """What sounds like the answer and is none: one word replaced by an everyday one, those with the highest bounds.

    Args:
        said: The answer in its best pronunciation.
        costs: As `costs_of` gives them.
        meaning_of: The meaning of words; what means something is no rival here.
        most: How many.
    """
    words = everyday()
    names = [_NAMES[phone] for phone in said.phones]
    of_word = np.array(said.of_word)
    spans = [
        (int(np.searchsorted(of_word, number)), int(np.searchsorted(of_word, number, "right")))
        for number in range(len(said.words))
    ]
    if len(spans) > 1 and len(names) <= LONGEST_WHOLE:
        spans.append((0, len(names)))
    found: dict[Phones, float] = {}
    for number, (begin, end) in enumerate(spans):
        kept = sum(costs[phone] for phone in (*said.phones[:begin], *said.phones[end:]))
        known = 0
        for distance, word, phones in words.near(tuple(names[begin:end]), NEAR):
            if distance < NEAREST or known >= MOST_NEAR:
                continue
            whole = number >= len(said.words)
            text = word if whole else " ".join((*said.words[:number], word, *said.words[number + 1 :]))
            if meaning_of(text) is not None:
                continue
            known += 1
            other = tuple(PHONE_NUMBERS[phone] for phone in phones)
            found[*said.phones[:begin], *other, *said.phones[end:]] = kept + sum(
                costs[phone] for phone in other
            )
    return sorted(found, key=lambda one: (found[one], one))[:most]
