"""Draws the sentences to measure with, from everything that the assistant says now.

The sentences are in two halves by their own text. Anything about the voice that is chosen by listening (the parameters
of its shaping for noise) is chosen on one half, and measured on the other.
"""

from __future__ import annotations

import hashlib
import random
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


class Half(StrEnum):
    """Which sentences count."""

    TUNING = "tuning"
    MEASURING = "measuring"
    BOTH = "both"


def half_of(sentence: str) -> Half:
    """The half that a sentence belongs to: its SHA-256, in hexadecimal, begins with 0 to 7 for tuning."""
    return Half.TUNING if hashlib.sha256(sentence.encode()).hexdigest()[0] < "8" else Half.MEASURING


def draw(sentences: Iterable[str], count: int, seed: int, half: Half = Half.MEASURING) -> list[str]:
    """Sentences in random order, each once.

    Args:
        sentences: All sentences; their order does not matter.
        count: How many to draw; 0 or too many means all.
        seed: The same seed draws the same of the same sentences.
        half: The half to draw from.
    """
    wanted = sorted({one for one in sentences if half in (Half.BOTH, half_of(one))})
    random.Random(seed).shuffle(wanted)  # noqa: S311  a draw, no secret
    return wanted[:count] if count > 0 else wanted
