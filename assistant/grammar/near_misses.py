"""Near misses of a grammar: everyday words that sound almost like one of its phrases and are in no grammar.

"Skirt" is near "skip", "a farm" near "affirm".  Whoever speaks in the bay says such words to somebody else, so a
recogniser has to be taught and tried with them.

`near_misses` replaces a whole phrase by one or two everyday words, or one word of it by another.  The list has 11,000
everyday words (SCOWL, sizes 10 and 20; the notice is in the file); the large dictionary has their pronunciations.
"""

from __future__ import annotations

import gzip
import itertools
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from assistant.grammar import english
from assistant.grammar.lexicon import PHONES, Lexicon, Pronunciation, omission, substitution

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from numpy.typing import NDArray

    from assistant.grammar.step_grammar import StepGrammar

FILE = Path(__file__).resolve().parent / "everyday.txt.gz"

NEAREST, FARTHEST = 0.7, 2.0
"""Distances (`lexicon.distance`) of a near miss from its phrase: from one sound like another to two other sounds.

What is nearer differs by one vowel like another or by a voicing ("are firm", "affirm"): no recogniser can be blamed.
"""

LONGEST_SPLIT = 9
"""Most phones of a phrase for which two everyday words are looked for."""

_NUMBER = {phone: number for number, phone in enumerate(sorted(PHONES))}
_OMISSION = np.array([omission(phone) for phone in sorted(PHONES)])
_SUBSTITUTION = np.array([[substitution(one, other) for other in sorted(PHONES)] for one in sorted(PHONES)])


@dataclass(frozen=True, order=True)
class NearMiss:
    """Words in no grammar that sound like a phrase of one.

    Attributes:
        distance: How far they sound from the phrase (`assistant.grammar.lexicon.distance`).
        words: The words.
        like: The phrase.
        phones: The phones of each word.
    """

    distance: float
    words: tuple[str, ...]
    like: str
    phones: tuple[Pronunciation, ...]

    @property
    def text(self) -> str:
        """The words as one text."""
        return " ".join(self.words)

    @property
    def sound(self) -> Pronunciation:
        """The phones of all words."""
        return tuple(itertools.chain.from_iterable(self.phones))


class Everyday:
    """Everyday words by their sounds, so that those near a sound are found quickly.

    Args:
        said: Pronunciations of each word.

    Attributes:
        words: Each word with each of its pronunciations.
        said: The pronunciations of each word.
    """

    def __init__(self, said: Iterable[tuple[str, Sequence[Pronunciation]]]) -> None:
        self.words: list[tuple[str, Pronunciation]] = sorted(
            {(word, phones) for word, some in said for phones in some}
        )
        self.said: dict[str, set[Pronunciation]] = {}
        for word, phones in self.words:
            self.said.setdefault(word, set()).add(phones)
        lengths: dict[int, list[int]] = {}
        for number, (_, phones) in enumerate(self.words):
            lengths.setdefault(len(phones), []).append(number)
        self._of_length = {
            length: (
                np.array(some),
                np.array([[_NUMBER[phone] for phone in self.words[one][1]] for one in some]).T,
            )
            for length, some in lengths.items()
        }
        self._near = lru_cache(20_000)(self._look_up)

    def near(self, phones: Pronunciation, limit: float) -> list[tuple[float, str, Pronunciation]]:
        """Words that are at most so far from these phones, the nearest first, with their distances."""
        return [found for found in self._near(phones) if found[0] <= limit]

    def _look_up(self, phones: Pronunciation) -> tuple[tuple[float, str, Pronunciation], ...]:
        target = np.array([_NUMBER[phone] for phone in phones], np.intp)
        found: list[tuple[float, str, Pronunciation]] = []
        for length, (numbers, columns) in self._of_length.items():
            if abs(length - len(target)) * _OMISSION.min() > FARTHEST:
                continue
            distances = _distances(target, columns)
            for at in np.flatnonzero(distances <= FARTHEST):
                word, said = self.words[int(numbers[at])]
                found.append((round(float(distances[at]), 6), word, said))
        return tuple(sorted(found))


def _distances(target: NDArray[np.intp], columns: NDArray[np.intp]) -> NDArray[np.float64]:
    """Weighted edit distance of one pronunciation to many of one length, shape ``(phones, words)`` each a column."""
    lost = _OMISSION[target]
    count = columns.shape[1]
    row = np.repeat(np.concatenate([[0.0], np.cumsum(lost)])[:, None], count, axis=1)
    for phones in columns:
        added = _OMISSION[phones]
        following = np.empty_like(row)
        following[0] = row[0] + added
        for at, phone in enumerate(target):
            following[at + 1] = np.minimum(
                np.minimum(row[at + 1] + added, following[at] + lost[at]),
                row[at] + _SUBSTITUTION[phone, phones],
            )
        row = following
    return np.asarray(row[-1])


@cache
def everyday() -> Everyday:
    """The everyday words of the file.

    Raises:
        OSError: The file is missing or damaged; the installation is broken.
    """
    with gzip.open(FILE, "rt", encoding="utf-8") as file:
        words = [line.strip() for line in file if not line.startswith("#")]
    return Everyday(english.look_up(words).items())


def near_misses(
    grammar: StepGrammar,
    phrases: Iterable[str] | None = None,
    *,
    words: Everyday | None = None,
    elsewhere: Callable[[str], bool] = lambda _: False,
    of_each: int = 12,
) -> list[NearMiss]:
    """Near misses of the phrases of a grammar, the nearest first.

    Args:
        grammar: The grammar, none of whose phrases is given.
        phrases: Phrases to miss; all of the grammar that are no readings and name no place if they are left out.
        words: The everyday words.
        elsewhere: Whether a text is a phrase of any other grammar, so that it is not given either.
        of_each: Most near misses of one phrase, over all distances; of words that sound the same there is one.
    """
    words = words or everyday()
    if phrases is None:
        phrases = [str(phrase) for phrase, result in grammar.meanings() if result.place is None]
    same = _Same(grammar, words, elsewhere)
    found: dict[Pronunciation, NearMiss] = {}
    for phrase in phrases:
        kept: dict[Pronunciation, NearMiss] = {}
        for miss in sorted(_of_phrase(phrase, grammar.lexicon, words)):
            kept.setdefault(miss.sound, miss)
        for miss in _spread([miss for miss in kept.values() if not same.is_said(miss)], of_each):
            if miss.sound not in found or miss < found[miss.sound]:
                found[miss.sound] = miss
    return sorted(found.values())


def _spread(misses: Sequence[NearMiss], most: int) -> Sequence[NearMiss]:
    """Evenly spaced ones of a sorted list, the first among them."""
    if len(misses) <= most:
        return misses
    return [misses[at * len(misses) // most] for at in range(most)]


def _of_phrase(phrase: str, lexicon: Lexicon, words: Everyday) -> Iterator[NearMiss]:
    said = [lexicon.pronunciations(word) for word in phrase.split()]
    if not all(said):
        return
    whole = tuple(itertools.chain.from_iterable(some[0] for some in said))
    for distance, word, phones in words.near(whole, FARTHEST):
        if distance >= NEAREST:
            yield NearMiss(distance, (word,), phrase, (phones,))
    if len(whole) <= LONGEST_SPLIT:
        for cut in range(1, len(whole)):
            for near, first, phones in words.near(whole[:cut], FARTHEST):
                for more, second, others in words.near(whole[cut:], FARTHEST - near):
                    if near + more >= NEAREST:
                        yield NearMiss(round(near + more, 6), (first, second), phrase, (phones, others))
    if len(said) > 1:
        texts = phrase.split()
        usual = [some[0] for some in said]
        for at, phones in enumerate(usual):
            for distance, word, other in words.near(phones, FARTHEST):
                if distance >= NEAREST:
                    yield NearMiss(
                        distance,
                        (*texts[:at], word, *texts[at + 1 :]),
                        phrase,
                        (*usual[:at], other, *usual[at + 1 :]),
                    )


class _Same:
    """Whether words are, or sound exactly like, a phrase of some grammar."""

    def __init__(self, grammar: StepGrammar, words: Everyday, elsewhere: Callable[[str], bool]) -> None:
        self._grammar = grammar
        self._said = words.said
        self._elsewhere = elsewhere
        self._by_sound: dict[Pronunciation, list[str]] = {}
        for word in grammar.words():
            for phones in grammar.lexicon.pronunciations(word):
                self._by_sound.setdefault(phones, []).append(word)
        self._sounds = {
            tuple(itertools.chain.from_iterable(one))
            for phrase in grammar.phrases()
            for one in itertools.islice(
                itertools.product(*(grammar.lexicon.pronunciations(word) for word in phrase.split())), 64
            )
        }

    def is_said(self, miss: NearMiss) -> bool:
        if self._elsewhere(miss.text) or self._grammar.parse(miss.text) is not None:
            return True
        if miss.sound in self._sounds:
            return True
        # "for volts" sounds like "four volts".
        alike = [
            dict.fromkeys(
                (
                    word,
                    *(
                        other
                        for phones in self._said.get(word, ())
                        for other in self._by_sound.get(phones, ())
                    ),
                )
            )
            for word in miss.words
        ]
        return any(
            self._grammar.parse(" ".join(one)) is not None
            for one in itertools.islice(itertools.product(*alike), 64)
        )
