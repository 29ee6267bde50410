"""Sentences as a voice reads them: where they end, and how many words each has."""

from __future__ import annotations

import re
import unicodedata

_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_SPOKEN = re.compile(r"[^\W_]")


def sentences(text: str) -> list[str]:
    """The sentences of a text, each with its own punctuation; a decimal point does not end one.

    Characters that cannot be spoken (controls, halves of surrogate pairs) count as spaces.
    """
    plain = text
    if not text.isprintable():
        plain = "".join(" " if unicodedata.category(letter) in ("Cc", "Cs") else letter for letter in text)
    return [part for part in re.split(r"(?<=[.!?])\s+", plain.strip()) if _SPOKEN.search(part)]


def count_words(sentence: str) -> int:
    """Words as they are read: "12.4 volts" is four, "twelve point four volts"."""
    return sum(_read(word) for word in sentence.split() if re.search(r"\w", word))


def _read(word: str) -> int:
    number = _NUMBER.search(word)
    if number is None:
        return 1
    whole, _, decimals = number.group().partition(".")
    value = int(whole)
    spoken = 1 if value <= 20 or (value < 100 and value % 10 == 0) else 2 if value < 100 else len(whole)
    return spoken + (1 + len(decimals) if decimals else 0)
