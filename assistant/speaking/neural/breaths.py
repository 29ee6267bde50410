"""A sentence that is too long for the network, in parts that it can say."""

from __future__ import annotations

from assistant.speaking.neural.pieces import PAUSES

_SHORTEST = 0.25
"""Share of the most signs that a part before a pause has at least: a shorter one would cut where nobody breathes."""

_MARK = ","
"""Stands behind a part that ends in the middle of a clause, so that it does not sound like the end of the sentence."""


def breaths(phonemes: str, most: int) -> list[str]:
    """The parts of a sentence, to be said one after the other; only the sentence itself if it is short enough.

    It is cut behind the last mark of a pause that leaves a part short enough, else between two words, else anywhere.

    Args:
        phonemes: What `pronouncing.phonemes` writes.
        most: Most signs of a part, 2 or more.
    """
    parts = []
    rest = phonemes
    while len(rest) > most:
        ends = [place for place in range(1, most) if rest[place] == " "]
        pauses = [place for place in ends if rest[place - 1] in PAUSES and place >= _SHORTEST * most]
        cut = (pauses or ends or [most - 1])[-1]
        part, rest = rest[:cut].strip(), rest[cut:].strip()
        if part:
            parts.append(part if part[-1] in PAUSES else f"{part}{_MARK}")
    return [*parts, rest]
