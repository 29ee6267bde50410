"""How one word is pronounced: the trade's own words, the packed lexicon, endings, an own lexicon, and letters.

The order and the rules for small words are misaki's (0.9.4, ``en.py``, by hexgrad, Apache-2.0, by way of hibari
0.2.1), because the voice was trained on what they write; changed where a comment says so.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.speaking.neural import arpabet
from assistant.speaking.neural.dictionary import USUAL, Dictionary
from assistant.speaking.neural.inflecting import (
    CAPITALS,
    ENDINGS,
    PRIMARY,
    SECONDARY,
    WEAK,
    WEAKER,
    WORD,
    stems,
    stressed,
)
from assistant.speaking.neural.parts_of_speech import INITIALS, LETTER, NOUN, PARENTS, PART
from assistant.speaking.neural.trade_words import trade_words

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

MOST_LETTERS = 5
"""Letters of a word in capitals that is read letter by letter if no lexicon has it ("ECM")."""

PREFIXES = {"re": "ɹi", "un": "ˌʌn", "pre": "pɹi", "non": "nˌɑn", "mis": "mˌɪs", "sub": "sˌʌb", "de": "di"}
"""Beginnings of words, as the lexicon has them in "retest", "unplug" and "misfire"."""

_SHORTEST_HALF = 4
"""Letters of the shortest half of a compound: shorter ones are found in names and foreign words by chance."""

_LONGEST_COMPOUND = 40
"""Letters of the longest compound that is looked for: a page typed without a space would take seconds."""

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

    def read(self, word: str, kind: str | None, vowel_next: bool | None) -> str | None:
        """The phonemes of a word; None if no lexicon has it.

        Args:
            word: As it is written, with its capitals.
            kind: What kind of word it is (`parts_of_speech`), None for the usual.
            vowel_next: Whether the next sound is a vowel; None before a pause.
        """
        small = None if kind in (LETTER, PART) else _small_word(word, vowel_next)
        if small:
            return small
        letters = word.isascii() and word.isalpha()
        if len(word) == 1:
            return self._letters(word) if letters else None
        said = self.look_up(word, kind, vowel_next)
        if not said and word.endswith("'"):
            said = self.look_up(word[:-1], kind, vowel_next)
        stress = _stress(word)
        said = said or self._inflected(word.lower(), kind, stress, vowel_next)
        said = said or self._from_own(word.lower(), stress)
        if not said and letters and word.isupper() and len(word) <= MOST_LETTERS:
            return self._letters(word)
        compound = letters and len(word) <= _LONGEST_COMPOUND
        return said or (self._put_together(word.lower(), stress) if compound else None)

    def look_up(self, word: str, kind: str | None, vowel_next: bool | None) -> str | None:
        """The phonemes of a word that stands in a lexicon as it is; None for another."""
        return self._known(word, kind, _stress(word), vowel_next)

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
        elif kind == INITIALS and found.get(NOUN) == "":
            said = ""
        elif kind:
            said = found.get(kind) or found.get(PARENTS.get(kind, kind)) or said
        return stressed(said or self._letters(word), stress)

    def _find(self, word: str) -> Mapping[str, str] | None:
        """The entry as written, else with small letters, else with one capital ("celsius" is in as "Celsius")."""
        for form in dict.fromkeys((word, word.lower(), word.lower().capitalize())):
            found = self._dictionary.find(form)
            if found is not None:
                return found
        return None

    def _inflected(
        self, word: str, kind: str | None, stress: float | None, vowel_next: bool | None
    ) -> str | None:
        for stem, ending in stems(word):
            weak = WORD if ending == "ing" and stress is None else stress
            said = self._known(stem, kind, weak, vowel_next) if len(stem) > 1 else None
            if said:
                return ENDINGS[ending](said)
        return None

    def _from_own(self, word: str, stress: float | None) -> str | None:
        said = arpabet.phonemes(self._own(word))
        for stem, ending in [] if said else stems(word):
            phones = self._own(stem)
            said = said or (ENDINGS[ending](arpabet.phonemes(phones)) if phones else "")
        return stressed(said, stress) or None

    def _put_together(self, word: str, stress: float | None) -> str | None:
        """A closed compound ("powertrain") or a word with a prefix ("retorque"), of two words that are known.

        A compound has its stress in front, as most closed ones have.
        Not misaki's: it gives such words to a network for unknown ones.
        """
        for place in range(len(word) - _SHORTEST_HALF, 1, -1):
            first, second = word[:place], word[place:]
            if place < _SHORTEST_HALF and first not in PREFIXES:
                continue
            prefix = PREFIXES.get(first)
            start = prefix or self._known(first, None, None, vowel_next=False)
            end = self._known(second, None, None, vowel_next=False)
            end = end or self._inflected(second, None, None, vowel_next=False)
            if start and end:
                return stressed(start + (end if prefix else stressed(end, WEAKER)), stress)
        return None

    def _letters(self, word: str) -> str:
        """Letter by letter, the last with the main stress."""
        names = [(self._dictionary.find(letter.upper()) or {USUAL: ""})[USUAL] for letter in word]
        if len(names) == 1:
            return names[0]
        return PRIMARY.join(stressed("".join(names), WEAK).rsplit(SECONDARY, 1))


def _stress(word: str) -> float | None:
    """How much stress its capitals give a word: to misaki they show importance."""
    return None if word == word.lower() else CAPITALS if word == word.upper() else WORD


def _small_word(word: str, vowel_next: bool | None) -> str | None:
    """Articles and prepositions, which lean on the next word."""
    low = word.lower()
    if low == "to" and vowel_next is not None:
        return "tʊ" if vowel_next else "tə"
    if low == "in":
        return "ɪn" if vowel_next is not None else f"{PRIMARY}ɪn"
    if low == "am" and vowel_next is not None:
        return "ɐm"
    return {"a": "ɐ", "an": "ɐn", "i": f"{SECONDARY}I", "the": "ði" if vowel_next else "ðə"}.get(low)
