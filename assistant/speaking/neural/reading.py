"""How one word is pronounced: the trade's own words, the packed lexicon, endings, letters, and an own lexicon.

The order and the rules for small words are misaki's (0.9.4, ``en.py``, by hexgrad, Apache-2.0, by way of hibari
0.2.1); changed where a comment says so.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.speaking.neural import arpabet, parts_of_speech
from assistant.speaking.neural.dictionary import USUAL, Dictionary
from assistant.speaking.neural.inflecting import (
    CAPITALS,
    ENDINGS,
    PRIMARY,
    SECONDARY,
    WEAK,
    WORD,
    stems,
    stressed,
)
from assistant.speaking.neural.trade_words import trade_words

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

MOST_LETTERS = 5
"""Letters of a word in capitals that is read letter by letter if no lexicon has it ("ECM")."""

_BEFORE_PAUSE = "None"
"""The lexicon's kind of a word before a pause, where small words keep their stress."""


class Words:
    """Pronounces words.

    Args:
        dictionary: The packed lexicon.
        own: A word's ARPAbet phones from a lexicon that a contributor keeps, empty if it has none.
    """

    def __init__(self, dictionary: Dictionary, own: Callable[[str], Sequence[str]]) -> None:
        self._dictionary = dictionary
        self._own = own
        self._trade = trade_words()

    def read(self, word: str, kind: str | None, vowel_next: bool | None, *, alone: bool = True) -> str | None:
        """The phonemes of a word; None if no lexicon has it.

        Args:
            word: As it is written, with its capitals.
            kind: What kind of word it is (`parts_of_speech`), None for the usual.
            vowel_next: Whether the next sound is a vowel; None before a pause.
            alone: Whether it stands by itself, and is not a part of a word with hyphens.
        """
        small = _small_word(word, kind, vowel_next) if alone else None
        if small:
            return small
        if len(word) == 1:
            return stressed(self._letters(word), None) if word.isascii() and word.isalpha() else None
        stress = None if word == word.lower() else CAPITALS if word == word.upper() else WORD
        said = self._known(word, kind, stress, vowel_next)
        if said is None and word.endswith("'"):
            said = self._known(word[:-1], kind, stress, vowel_next)
        if said is None:
            said = self._inflected(word, kind, stress, vowel_next)
        if (
            said is None
            and word == word.upper()
            and word.isascii()
            and word.isalpha()
            and len(word) <= MOST_LETTERS
        ):
            return self._letters(word)
        if said is None:
            phones = self._own(word.lower())
            said = stressed(arpabet.phonemes(phones), stress) if phones else None
        return said

    def _inflected(
        self, word: str, kind: str | None, stress: float | None, vowel_next: bool | None
    ) -> str | None:
        for stem, ending in stems(word.lower()):
            if len(stem) < 2:
                continue
            weak = WORD if ending == "ing" and stress is None else stress
            said = self._known(stem, kind, weak, vowel_next)
            if said:
                return ENDINGS[ending](said)
        return None

    def _known(
        self, word: str, kind: str | None, stress: float | None, vowel_next: bool | None
    ) -> str | None:
        trade = self._trade.get(word) or self._trade.get(word.lower())
        if trade:
            return stressed(trade, stress)
        found = self._find(word)
        if found is None:
            return None
        said = found[USUAL]
        if vowel_next is None and _BEFORE_PAUSE in found:
            said = found[_BEFORE_PAUSE]
        elif kind:
            said = found.get(kind, found.get(parts_of_speech.PARENTS.get(kind, kind), said))
        return stressed(said or self._letters(word), stress)

    def _find(self, word: str) -> Mapping[str, str] | None:
        """The entry as written, else with small letters, else with one capital ("celsius" is in as "Celsius")."""
        for form in dict.fromkeys((word, word.lower(), word.lower().capitalize())):
            found = self._dictionary.find(form)
            if found is not None:
                return found
        return None

    def _letters(self, word: str) -> str:
        """Letter by letter, the last with the main stress."""
        names = [(self._dictionary.find(letter.upper()) or {USUAL: ""})[USUAL] for letter in word]
        if len(names) == 1:
            return names[0]
        return PRIMARY.join(stressed("".join(names), WEAK).rsplit(SECONDARY, 1))


def _small_word(word: str, kind: str | None, vowel_next: bool | None) -> str | None:
    """Articles and prepositions, which lean on the next word."""
    low = word.lower()
    if low == "a" and kind != parts_of_speech.LETTER:
        return "ɐ"
    if low == "an":
        return "ɐn"
    if word == "I":
        return f"{SECONDARY}I"
    if low == "the":
        return "ði" if vowel_next else "ðə"
    if low == "to" and vowel_next is not None:
        return "tʊ" if vowel_next else "tə"
    if low == "in":
        return "ɪn" if vowel_next is not None else f"{PRIMARY}ɪn"
    return "ɐm" if word == "am" and vowel_next is not None else None
