"""Converts between two notations of sounds: the lexicon's ARPAbet and the letters that the voices read.

The neural voices read a notation of the International Phonetic Alphabet in which a diphthong is one capital letter
(that of the misaki dictionary, Apache-2.0).
"""

from __future__ import annotations

import gzip
import json
from typing import TYPE_CHECKING

from assistant.grammar.lexicon import PHONES, VOWELS, Pronunciation

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

STRESS = "ˈ"
_MARKS = frozenset("ˈˌː ")

_TO_ARPABET = {
    "A": "EY", "I": "AY", "W": "AW", "Y": "OY", "O": "OW", "Q": "OW",
    "æ": "AE", "a": "AE", "ɑ": "AA", "ɒ": "AA", "ɛ": "EH", "ɪ": "IH", "ᵻ": "IH", "ɔ": "AO", "ʊ": "UH", "ʌ": "AH",
    "ə": "AH", "ᵊ": "AH", "ɐ": "AH", "ɜ": "ER", "ɚ": "ER", "i": "IY", "u": "UW",
    "b": "B", "d": "D", "f": "F", "h": "HH", "j": "Y", "k": "K", "l": "L", "m": "M", "n": "N", "p": "P", "s": "S",
    "t": "T", "T": "T", "ɾ": "T", "ʔ": "T", "v": "V", "w": "W", "z": "Z", "ɡ": "G", "ŋ": "NG", "ɹ": "R", "ʃ": "SH",
    "ʒ": "ZH", "ð": "DH", "θ": "TH", "ʤ": "JH", "ʧ": "CH",
}  # fmt: skip

_FROM_ARPABET = {
    "EY": "A", "AY": "I", "AW": "W", "OY": "Y", "OW": "O", "AE": "æ", "AA": "ɑ", "EH": "ɛ", "IH": "ɪ", "AO": "ɔ",
    "UH": "ʊ", "AH": "ə", "ER": "əɹ", "IY": "i", "UW": "u", "B": "b", "D": "d", "F": "f", "HH": "h", "Y": "j",
    "K": "k", "L": "l", "M": "m", "N": "n", "P": "p", "S": "s", "T": "t", "V": "v", "W": "w", "Z": "z", "G": "ɡ",
    "NG": "ŋ", "R": "ɹ", "SH": "ʃ", "ZH": "ʒ", "DH": "ð", "TH": "θ", "JH": "ʤ", "CH": "ʧ",
}  # fmt: skip


def to_arpabet(letters: str) -> Pronunciation | None:
    """The lexicon's phones for a word in the voices' notation; None if it has a sound of another language."""
    phones: list[str] = []
    plain = [letter for letter in letters if letter not in _MARKS]
    for number, letter in enumerate(plain):
        if letter not in _TO_ARPABET:
            return None
        after = plain[number + 1] if number + 1 < len(plain) else ""
        if letter in "əɜᵊ" and after == "ɹ":
            phones.append("ER")
        elif letter == "ɹ" and number and plain[number - 1] in "əɜᵊ":
            continue
        else:
            phones.append(_TO_ARPABET[letter])
    return tuple(phones)


def from_arpabet(phones: Iterable[str]) -> str:
    """A word of the lexicon in the voices' notation, its first vowel stressed."""
    letters, stressed = [], False
    for phone in phones:
        if phone not in PHONES:
            raise ValueError(f"'{phone}' is not an ARPAbet phone")
        letter = _FROM_ARPABET[phone]
        if phone in VOWELS and not stressed:
            stressed = True
            letter = STRESS + {"AH": "ʌ", "ER": "ɜɹ"}.get(phone, letter)
        letters.append(letter)
    return "".join(letters)


def read_dictionary(path: Path) -> dict[str, str]:
    """Words with their sounds in the voices' notation, from a gzipped JSON file of the misaki dictionary.

    It leaves out words with capitals, punctuation or sounds of other languages, and keeps the usual reading of
    several.

    Raises:
        OSError: The file cannot be read.
    """
    with gzip.open(path, "rt", encoding="utf-8") as file:
        entries: Mapping[str, str | Mapping[str, str | None]] = json.load(file)
    words = {}
    for word, said in entries.items():
        usual = said if isinstance(said, str) else said.get("DEFAULT")
        if usual and word.isascii() and word.isalpha() and word.islower() and to_arpabet(usual):
            words[word] = usual
    return words
