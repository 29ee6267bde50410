"""A large English dictionary, for words that a grammar uses and its lexicon lacks.

It is the pronouncing dictionary that comes with PocketSphinx (BSD licence, in the file): 135,000 pronunciations.
A small list of our own, ``trade.txt``, has words of the trade that it lacks ("backprobe", "solenoid").
The lexicon beside the grammars comes first: it has the words of the grammars in their intended pronunciations.
"""

from __future__ import annotations

import gzip
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from assistant.grammar.lexicon import PHONES, Pronunciation

if TYPE_CHECKING:
    from collections.abc import Collection

FILE = Path(__file__).resolve().parent / "english.txt.gz"
TRADE = FILE.with_name("trade.txt")


def look_up(words: Collection[str]) -> dict[str, tuple[Pronunciation, ...]]:
    """Pronunciations of the words that the dictionary has, the usual one first.

    Each call reads the whole file, about 0.1 s, so ask for all words together and only for those you need.

    Raises:
        OSError: The file is missing or damaged; the installation is broken.
    """
    found: dict[str, list[Pronunciation]] = {}
    wanted = set(words)
    with gzip.open(FILE, "rt", encoding="utf-8") as english, TRADE.open(encoding="utf-8") as trade:
        for file in (english, trade):
            _look_up(file, wanted, found)
    return {word: tuple(said) for word, said in found.items()}


def _look_up(file: TextIO, wanted: Collection[str], found: dict[str, list[Pronunciation]]) -> None:
    """Add what one file has of the wanted words."""
    for line in file:
        word, _, phones = line.partition(" ")
        if word in wanted:
            said = tuple(phones.split())
            if said and PHONES.issuperset(said):
                found.setdefault(word, []).append(said)
