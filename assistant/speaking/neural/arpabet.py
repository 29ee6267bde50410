"""ARPAbet phones, which `grammars/lexicon.txt` has, in the voice's alphabet, with a guess of the stress."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.speaking.neural.inflecting import PRIMARY

if TYPE_CHECKING:
    from collections.abc import Sequence

_SIGNS = {
    "AA": "ɑ",
    "AE": "æ",
    "AH": "ə",
    "AO": "ɔ",
    "AW": "W",
    "AY": "I",
    "EH": "ɛ",
    "ER": "əɹ",
    "EY": "A",
    "IH": "ɪ",
    "IY": "i",
    "OW": "O",
    "OY": "Y",
    "UH": "ʊ",
    "UW": "u",
    "B": "b",
    "CH": "ʧ",
    "D": "d",
    "DH": "ð",
    "F": "f",
    "G": "ɡ",
    "HH": "h",
    "JH": "ʤ",
    "K": "k",
    "L": "l",
    "M": "m",
    "N": "n",
    "NG": "ŋ",
    "P": "p",
    "R": "ɹ",
    "S": "s",
    "SH": "ʃ",
    "T": "t",
    "TH": "θ",
    "V": "v",
    "W": "w",
    "Y": "j",
    "Z": "z",
    "ZH": "ʒ",
}
_STRESSED = {"AH": "ʌ", "ER": "ɜɹ"}
"""Vowels that sound otherwise with stress."""

_FULL = {"AA", "AE", "AO", "AW", "AY", "EH", "EY", "IY", "OW", "OY", "UH", "UW"}
_ALL = _FULL | {"AH", "ER", "IH"}


def phonemes(phones: Sequence[str]) -> str:
    """The word in the voice's alphabet.

    The lexicon has no stress. The guess is the first full vowel of the first two syllables, else the first syllable:
    English words of two or three syllables mostly begin with the stress (Cutler and Carter 1987), and a reduced vowel
    (AH, IH, ER) does not carry it.
    """
    places = [place for place, phone in enumerate(phones) if phone in _ALL]
    main = next((place for place in places[:2] if phones[place] in _FULL), places[0] if places else -1)
    return "".join(
        PRIMARY + _STRESSED.get(phone, _SIGNS[phone]) if place == main else _SIGNS[phone]
        for place, phone in enumerate(phones)
    )
