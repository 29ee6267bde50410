"""Spelled signs: letters of the ICAO spelling alphabet and single digits, a few in one breath.

Only ``grammars/spelling.jsgf`` states the language; its tags give each word its sign: ``{sign=A}``.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from assistant.core.dialogue.asking import IN_ONE_BREATH, WORDS
from assistant.core.library.identity import LOOK_ALIKE
from assistant.core.values.result import Spelling

if TYPE_CHECKING:
    import random
    from collections.abc import Collection, Sequence

    from assistant.grammar.network import Network, Position

KEY = "sign"
"""The key of the tags."""


def is_tag_value(value: str) -> bool:
    """Whether this can stand behind ``sign=``: one capital letter or digit."""
    return len(value) == 1 and value.isascii() and (value.isdigit() or value.isupper())


def _taken(sign: str, spelling: Spelling) -> bool:
    if spelling is Spelling.DIGITS:
        return sign.isdigit()
    return spelling is not Spelling.VIN or sign not in LOOK_ALIKE


class SpellingGrammar:
    """The spelled signs of a network with the tags above."""

    def __init__(self, network: Network) -> None:
        self.network = network

    @cached_property
    def forms(self) -> dict[str, list[str]]:
        """The words of each sign, the usual one first."""
        found: dict[str, list[str]] = {}
        for word in self.words():
            for tags in self.network.tags((word,)):
                if len(tags) == 1:
                    found.setdefault(tags[0].partition("=")[2], []).append(word)
        usual = {sign: word.replace("-", "") for sign, word in WORDS.items()}
        return {
            sign: sorted(words, key=lambda word: word != usual.get(sign)) for sign, words in found.items()
        }

    def only(self, spelling: Spelling) -> SpellingGrammar:
        """The same grammar without the signs that cannot occur here."""
        gone = {word for sign, words in self.forms.items() if not _taken(sign, spelling) for word in words}
        return SpellingGrammar(self.network.without(gone))

    def parse(self, words: Sequence[str]) -> str | None:
        """The signs that these words make as a whole; None for anything else, or if there are two readings."""
        if not words or not all(word in self.words() for word in words):
            return None
        found = {"".join(tag.partition("=")[2] for tag in tags) for tags in self.network.tags(words)}
        return found.pop() if len(found) == 1 else None

    def words(self) -> dict[str, Position]:
        """Every word, with its first line."""
        return self._words

    @cached_property
    def _words(self) -> dict[str, Position]:
        return self.network.words_in_use()

    def in_words(self, signs: str) -> str:
        """The usual words for signs."""
        return " ".join(self.forms[sign][0] for sign in signs)

    def sample(self, rng: random.Random) -> str:
        """The words of a few random signs."""
        names = sorted(self.forms)
        return self.in_words("".join(rng.choice(names) for _ in range(rng.randint(1, IN_ONE_BREATH))))

    def without(self, missing: Collection[str]) -> SpellingGrammar:
        """The same grammar without the signs that need one of these words."""
        return SpellingGrammar(self.network.without(missing))

    def lost(self, missing: Collection[str]) -> dict[str, Position]:
        """Words among `missing` without which some sign cannot be said at all, with their places."""
        gone = [words for words in self.forms.values() if all(word in missing for word in words)]
        return {word: self.words()[word] for words in gone for word in words}
