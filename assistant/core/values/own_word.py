"""A technician's own words for an answer."""

from __future__ import annotations

from dataclasses import dataclass

KINDS = ("outcome", "control")
"""Kinds of meanings that can have own words."""


@dataclass(frozen=True)
class OwnWord:
    """Own words for an answer.

    Attributes:
        words: The words, in small letters, with one space between them.
        kind: Kind of the meaning, of `KINDS`.
        means: Name of the outcome or control word.
    """

    words: str
    kind: str
    means: str
