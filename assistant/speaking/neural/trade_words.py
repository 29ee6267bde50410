"""Words of the trade that the lexicon lacks or has in another meaning, from `trade_words.txt` beside this module."""

from __future__ import annotations

import functools
from pathlib import Path

from assistant.errors import FileProblem

FILE = Path(__file__).with_name("trade_words.txt")


@functools.cache
def trade_words() -> dict[str, str]:
    """The pronunciation of each word.

    Raises:
        FileProblem: A line is not a word with its phonemes.
    """
    found: dict[str, str] = {}
    for number, line in enumerate(FILE.read_text(encoding="utf-8").splitlines(), 1):
        fields = line.partition("#")[0].split()
        if not fields:
            continue
        if len(fields) != 2 or fields[0] in found:
            raise FileProblem(FILE, number, "a line is a word and its phonemes, once", "Mend the line")
        found[fields[0]] = fields[1]
    return found
