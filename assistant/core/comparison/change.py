"""A change between two versions of the procedures, and the words for it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

Path = tuple[str, ...]
"""The keys of a place in a file, from its top."""


class About(StrEnum):
    """The kind of thing that changed, as a technician would sort it."""

    PROCEDURE = "procedure"
    STEP = "step"
    MEASUREMENT = "measurement"
    LIMIT = "limit"
    ANSWER = "answer"
    CAUTION = "caution"
    WORDS = "words"
    VERDICT = "verdict"
    TERM = "term"
    ODDS = "odds"
    GRAMMAR = "grammar"


@dataclass(frozen=True)
class Alteration:
    """One difference between an earlier and a later version.

    Attributes:
        file: Name of the file, such as ``coil-control.yaml``.
        path: Keys of what changed; all of it changed, was added or was removed.
        about: Its kind.
        sentence: The change in words, without the name of file, step or verdict and without a full stop.
        before: What was there, in words; "" for nothing.
        after: What is there, in words; "" for nothing.
    """

    file: str
    path: Path
    about: About
    sentence: str
    before: str = ""
    after: str = ""

    @property
    def place(self) -> Path:
        """The step, verdict, caution or term that holds it; the key itself where there is nothing so large."""
        return self.path[:2] if len(self.path) > 1 else self.path

    @property
    def where(self) -> str:
        """The same in words: "step feed-and-switched"; "" for the file as a whole."""
        if len(self.path) < 2:
            return ""
        return f"{_ONE.get(self.path[0], self.path[0])} {self.path[1]}"


_ONE = {
    "steps": "step",
    "verdicts": "verdict",
    "cautions": "caution",
    "places": "place",
    "instruments": "instrument",
    "outcomes": "outcome",
    "faults": "fault",
    "facts": "fact",
    "called": "name of a measurement,",
    "prior": "odds of",
    "minutes": "minutes of",
    "once": "minutes, once, of",
    "each": "minutes of each",
    "outcome": "outcome",
    "place": "place",
    "unit": "unit",
    "control": "word",
}


def told(what: str, before: str, after: str) -> str:
    """The sentence for something that has, or had, a value: "clip: was the engine block, now battery negative"."""
    if not before:
        return f"{what}: now {after}, before nothing"
    return f"{what}: was {before}, now {after or 'nothing'}"


def quoted(text: str) -> str:
    """A text in quotes, or nothing for no text."""
    return f"'{text}'" if text else ""


def names(of: Sequence[str]) -> str:
    """Names one after another: "cranking, secondary"; "nothing" for no name."""
    return ", ".join(of) or "nothing"
