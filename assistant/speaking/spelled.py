"""Words that no lexicon has, as their letters, for a voice that has nobody else to say them."""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


def spelled(sentence: str, words: Iterable[str]) -> str:
    """The sentence with these words as capital letters apart, without accents.

    A word with a letter that English lacks stays as it is, so that no part of it is left out in silence.
    """
    for word in sorted(words, key=len, reverse=True):
        letters = [sign for sign in unicodedata.normalize("NFKD", word) if sign.isalnum()]
        if letters and all(sign.isascii() for sign in letters):
            sentence = re.sub(rf"(?<!\w){re.escape(word)}(?!\w)", " ".join(letters).upper(), sentence)
    return sentence
