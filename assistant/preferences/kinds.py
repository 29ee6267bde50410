"""Kinds of settings: what a value may be, as TOML holds it and as a person types it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from assistant.errors import GearProblem
from assistant.speaking.naming import voice_named

Value = str | int | float | bool
"""The value of a setting."""

_SHOWN = 60
"""Number of characters of a wrong value that a message repeats."""

_YES = {"yes", "true", "on", "1"}
_NO = {"no", "false", "off", "0"}


class Kind(Protocol):
    """A kind of value."""

    @property
    def form(self) -> str:
        """What would be right, as in "a whole number from 1 to 9"."""

    def checked(self, value: object) -> Value:
        """A value as TOML holds it.

        Raises:
            ValueError: It is not of this kind; the text says why if `form` does not, else it is empty.
        """

    def read(self, text: str) -> object:
        """What was typed, as TOML would hold it; `checked` judges it."""


def shown(value: object) -> str:
    """A value in a message: text in quotation marks, long text cut."""
    words = repr(value) if isinstance(value, str) else "a table" if isinstance(value, dict) else str(value)
    if isinstance(value, bool):
        words = "true" if value else "false"
    return words if len(words) <= _SHOWN else f"{words[:_SHOWN]}…"


@dataclass(frozen=True)
class PlainText:
    """Text on one line, or on several.

    Attributes:
        most: Largest number of characters.
        lines: Largest number of lines.
    """

    most: int
    lines: int = 1

    @property
    def form(self) -> str:
        """What would be right."""
        lines = "" if self.lines == 1 else f" on at most {self.lines} lines"
        return f"text of 1 to {self.most} characters{lines}"

    def checked(self, value: object) -> Value:
        """Text with something in it that can be printed."""
        if not isinstance(value, str):
            raise ValueError  # noqa: TRY004  the table has one kind of mistake
        rows = value.split("\n")
        if not value.strip() or len(value) > self.most or len(rows) > self.lines:
            raise ValueError
        if not all(row.isprintable() for row in rows):
            raise ValueError("it holds a character that cannot be printed")
        return value

    def read(self, text: str) -> object:
        r"""The text itself; ``\n`` begins a new line where several are allowed."""
        return text.replace("\\n", "\n") if self.lines > 1 else text


@dataclass(frozen=True)
class YesOrNo:
    """True or false."""

    form: str = field(default="true or false", init=False)

    def checked(self, value: object) -> Value:
        """A boolean of TOML; "yes" in quotation marks is none."""
        if not isinstance(value, bool):
            raise ValueError  # noqa: TRY004
        return value

    def read(self, text: str) -> object:
        """Yes, true, on, 1, and their opposites."""
        word = text.strip().casefold()
        return True if word in _YES else False if word in _NO else text


@dataclass(frozen=True)
class WholeNumber:
    """A whole number within bounds."""

    least: int
    most: int

    @property
    def form(self) -> str:
        """What would be right."""
        return f"a whole number from {self.least} to {self.most}"

    def checked(self, value: object) -> Value:
        """A whole number; true is none."""
        if isinstance(value, bool) or not isinstance(value, int) or not self.least <= value <= self.most:
            raise ValueError
        return value

    def read(self, text: str) -> object:
        """Digits."""
        text = text.strip()
        return int(text) if text.isascii() and text.isdecimal() and len(text) < 20 else text


@dataclass(frozen=True)
class Amount:
    """A number within bounds, in a unit."""

    least: float
    most: float
    unit: str

    @property
    def form(self) -> str:
        """What would be right."""
        return f"a number from {self.least:g} to {self.most:g} ({self.unit})"

    def checked(self, value: object) -> Value:
        """A finite number."""
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not self.least <= value <= self.most
        ):
            raise ValueError
        return float(value)

    def read(self, text: str) -> object:
        """A number, with its unit or without."""
        try:
            number = float(text.strip().removesuffix(self.unit))
        except ValueError:
            return text
        return number if math.isfinite(number) else text


@dataclass(frozen=True)
class OneOf:
    """One of a few words, each with its meaning."""

    words: Mapping[str, str]

    @property
    def form(self) -> str:
        """What would be right."""
        return " or ".join(f"'{word}' ({meaning})" for word, meaning in self.words.items())

    def checked(self, value: object) -> Value:
        """One of the words."""
        if not isinstance(value, str) or value not in self.words:
            raise ValueError
        return value

    def read(self, text: str) -> object:
        """The word."""
        return text.strip().casefold()


@dataclass(frozen=True)
class WholePath:
    """A path that means the same wherever the program is started."""

    what: str

    @property
    def form(self) -> str:
        """What would be right."""
        return f"the whole path of a {self.what}, which begins with / or ~"

    def checked(self, value: object) -> Value:
        """A path from the root or from a home folder."""
        if not isinstance(value, str) or "\0" in value or not value.startswith(("/", "~")):
            raise ValueError
        return value

    def read(self, text: str) -> object:
        """The path."""
        return text


@dataclass(frozen=True)
class VoiceName:
    """The name of a voice."""

    form: str = field(default="the name of a voice: 'heart', 'espeak', or one of eSpeak NG", init=False)

    def checked(self, value: object) -> Value:
        """A name that a voice can have."""
        if not isinstance(value, str):
            raise ValueError  # noqa: TRY004
        try:
            voice_named(value)
        except GearProblem:
            raise ValueError from None
        return value

    def read(self, text: str) -> object:
        """The name."""
        return text.strip()
