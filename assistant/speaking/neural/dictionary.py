"""The packed pronunciations: 180,000 words in one file of a megabyte, read a block at a time.

The file is one line of JSON (version, checksum, symbols, kinds of words, length of each block, first word of each
block) and the blocks. A block has some hundred words in alphabetical order, compressed by zlib. Each word, and each
pronunciation, gives how many signs it shares with the one before it, and the rest. `packing` writes the file.
A look-up opens one block; nothing of a block is kept but the answer.
"""

from __future__ import annotations

import bisect
import functools
import json
import re
import zlib
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.errors import GearProblem

if TYPE_CHECKING:
    from collections.abc import Mapping

FILE = Path(__file__).with_name("pronunciations.packed")

VERSION = 1
USUAL = "DEFAULT"
"""The kind of a pronunciation that fits wherever no other kind does."""

FIRST_SYMBOL = 0x21
"""Code of the first symbol of a pronunciation; kinds of words follow a bar, from `FIRST_KIND` on."""

FIRST_KIND = 0x21
BAR = b"|"

_SHARED = re.compile(rb"([\x80-\xff])([\x00-\x7f]*)")
_KEPT = 4000
"""Answers that are kept: more words than the program says, a quarter of a megabyte."""


class Dictionary:
    """Pronunciations of words, as they are spelled in the packed file.

    Raises:
        GearProblem: The file is missing, damaged, or of another version.
    """

    def __init__(self, path: Path = FILE) -> None:
        try:
            head, self._blocks = path.read_bytes().split(b"\n", 1)
            known = json.loads(head)
            sound = known["version"] == VERSION and known["crc32"] == zlib.crc32(self._blocks)
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise GearProblem(
                f"The pronunciations cannot be read from {path}: {error}. {_REINSTALL}"
            ) from error
        if not sound:
            raise GearProblem(f"The pronunciations in {path} are damaged or of another version. {_REINSTALL}")
        self._symbols = {FIRST_SYMBOL + i: symbol for i, symbol in enumerate(known["symbols"])}
        self._kinds: list[str] = known["kinds"]
        self._first: list[str] = known["first"]
        self._ends: list[int] = known["ends"]
        self.find = functools.lru_cache(_KEPT)(self._find)

    def _find(self, word: str) -> Mapping[str, str] | None:
        """The pronunciations of a word by kind of word ("NOUN", "VERB" ...); None if it is not in the file.

        An empty pronunciation stands for a word that is spelled letter by letter.
        """
        number = bisect.bisect_right(self._first, word) - 1
        if number < 0 or not word.isascii():
            return None
        start = self._ends[number - 1] if number else 0
        block = zlib.decompress(self._blocks[start : self._ends[number]])
        size = int.from_bytes(block[:4], "big")
        place = _place(block[4 : 4 + size], word.encode())
        return None if place is None else self._unpacked(_nth(block[4 + size :], place))

    def _unpacked(self, packed: bytes) -> Mapping[str, str]:
        usual, *others = packed.split(BAR)
        found = {USUAL: usual.decode("ascii").translate(self._symbols)}
        for other in others:
            found[self._kinds[other[0] - FIRST_KIND]] = other[1:].decode("ascii").translate(self._symbols)
        return found


def _place(words: bytes, wanted: bytes) -> int | None:
    """The number of a word among words that are written by their difference from the one before."""
    word = b""
    for number, (shared, rest) in enumerate(_SHARED.findall(words)):
        word = word[: shared[0] & 0x7F] + rest
        if word == wanted:
            return number
    return None


def _nth(written: bytes, number: int) -> bytes:
    """The text with this number among texts that are written by their difference from the one before."""
    text = b""
    for shared, rest in _SHARED.findall(written)[: number + 1]:
        text = text[: shared[0] & 0x7F] + rest
    return text


_REINSTALL = "Install bay-assistant again."
