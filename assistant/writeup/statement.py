"""A statement and its sources: nothing stands in a write-up without them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING

from assistant.printing import escaped
from assistant.record.header import HEADER_FILE, PROCEDURES, REVIEWS_FILE, SEAL_FILE, TRANSCRIPTS_FILE

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Measurement

LOG = "log"
"""Stands for all files of the log: a line is named by the number that it carries through the whole session."""


@dataclass(frozen=True, order=True)
class Source:
    """A place in a session folder.

    Attributes:
        file: ``log``, or the name of a file inside the session folder.
        at: Number of the line in the log, the reviews or the transcripts; for other files a key with its parts joined
            by dots; "" for the whole file.
    """

    file: str
    at: str = ""

    def __str__(self) -> str:
        if not self.at:
            return self.file
        return f"{self.file} {'line ' if self.at.isdecimal() else ''}{self.at}"


@dataclass(frozen=True)
class Statement:
    """Words of the write-up and their sources.

    Attributes:
        text: The words; "" if unknown.
        sources: Their sources in order of use, each once.
    """

    text: str
    sources: tuple[Source, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.text)


NOTHING = Statement("")
"""An unknown value."""


def line(*numbers: int) -> tuple[Source, ...]:
    """Lines of the log."""
    return tuple(Source(LOG, str(number)) for number in numbers)


def header(key: str) -> tuple[Source, ...]:
    """A key of the session's header."""
    return (Source(HEADER_FILE, key),)


def seal(key: str = "") -> tuple[Source, ...]:
    """A key of the session's seal."""
    return (Source(SEAL_FILE, key),)


def review(number: int) -> tuple[Source, ...]:
    """A review."""
    return (Source(REVIEWS_FILE, str(number)),)


def transcript(number: int) -> tuple[Source, ...]:
    """A transcript of a voice note."""
    return (Source(TRANSCRIPTS_FILE, str(number)),)


def procedure(library: Library, name: str, *keys: str) -> tuple[Source, ...]:
    """A key of a copied procedure."""
    file = PurePath(library.procedures[name].file).name or f"{name}.yaml"
    return (Source(f"{PROCEDURES}/{file}", ".".join(keys)),)


def term(*keys: str) -> tuple[Source, ...]:
    """A term of the copied terms."""
    return (Source(f"{PROCEDURES}/terms.yaml", ".".join(keys)),)


def terms_of(measure: Measurement) -> tuple[Source, ...]:
    """The sources of a measurement's words."""
    places = filter(None, (measure.clip, measure.probe, measure.compared_with, *measure.unplugged))
    found = [source for name in dict.fromkeys(places) for source in term("places", name)]
    return (*term("instruments", measure.instrument), *found)


def caution(name: str) -> tuple[Source, ...]:
    """A caution's words."""
    return (Source(f"{PROCEDURES}/cautions.yaml", name),)


def once(sources: Iterable[Source]) -> tuple[Source, ...]:
    """Each source once, in the order of first use."""
    return tuple(dict.fromkeys(sources))


def printable(words: str) -> str:
    """The words with plain spaces, and with every character escaped that cannot be printed or stored."""
    if words.replace("\n", "").isprintable():
        return words
    return escaped("".join(" " if sign.isspace() and sign != "\n" else sign for sign in words))


def clock(moment: datetime) -> str:
    """Time of day, in the write-up's form."""
    return f"{moment:%H:%M}"


def duration(seconds: float) -> str:
    """A span of time for a reader: "45 s", "3 min 5 s", "1 h 12 min"."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    minutes, rest = divmod(whole, 60)
    if minutes < 60:
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    hours, minutes = divmod(round(whole / 60), 60)
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"


def capital(words: str) -> str:
    """The text with a capital first letter."""
    return words[:1].upper() + words[1:]


def stop(words: str) -> str:
    """A sentence with exactly one full stop."""
    return words if words.endswith((".", "?", "!")) else f"{words}."
