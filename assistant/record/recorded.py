"""A session that was read: its lines, the files of its log, its seal, and the names of its files."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from assistant.core.values.events import Action, Clip, Event
from assistant.record.header import Header

_CLIP_NAME = re.compile(r"clips/[0-9]{4,}\.flac")


@dataclass(frozen=True)
class Line:
    """One line of the log: an event, its time, and the actions that it caused.

    Attributes:
        number: 1, 2, 3 … through the whole session.
        time: Clock time with the offset to UTC.
        event: The event.
        actions: The actions that it caused.
        file: Log file that holds the line.
        row: Line in that file, counted from 1.
    """

    number: int
    time: datetime
    event: Event
    actions: tuple[Action, ...]
    file: str = "log.jsonl"
    row: int = 0


@dataclass(frozen=True)
class LogFile:
    """One file of the log: its name, the SHA-256 of its bytes, and how many lines it has."""

    name: str
    sha256: str
    lines: int


@dataclass(frozen=True)
class Seal:
    """The seal that was written when the session was closed for good.

    Attributes:
        sealed: Time of sealing.
        lines: Number of lines of the log.
        last: SHA-256 of the last line.
        files: SHA-256 of the header, the log and each clip, by name inside the folder.
    """

    sealed: datetime
    lines: int
    last: str
    files: Mapping[str, str]


@dataclass(frozen=True)
class RecordedSession:
    """A session that was read.

    Attributes:
        header: Its header.
        lines: The log.
        torn: Number of bytes of an unfinished last line; 0 if it ends cleanly.
        sealed: Its seal; None while it is open.
        logs: The files of the log.
        folder: Its folder; None for a session made in memory.
        repeated: Number of the line that stands twice; 0 if none does.
    """

    header: Header
    lines: tuple[Line, ...]
    torn: int = 0
    sealed: Seal | None = None
    logs: tuple[LogFile, ...] = ()
    folder: Path | None = None
    repeated: int = 0


def repeated_sentence(number: int) -> str:
    """The sentence about a line that stands twice."""
    return (
        f"Line {number} of the log stands twice, byte for byte the same: an earlier version was interrupted while "
        "it wrote that line. It counts once; nothing is missing."
    )


def clip_name_is_ours(name: str) -> bool:
    """Whether a session would give a clip this name; any other name could point out of its folder."""
    return _CLIP_NAME.fullmatch(name) is not None


def clips_of(event: Event) -> tuple[Clip, ...]:
    """The clips of an event."""
    clip = getattr(event, "clip", None)
    return (clip,) if isinstance(clip, Clip) else ()


def log_name(position: int) -> str:
    """Name of the first, second, … file of a log."""
    return "log.jsonl" if position == 1 else f"log-{position}.jsonl"


def log_names(folder: Path) -> list[str]:
    """The log files that a session folder has, in the order in which they were written."""
    found = {
        1 if match["n"] is None else int(match["n"]): entry.name
        for entry in folder.iterdir()
        if (match := re.fullmatch(r"log(?:-(?P<n>[2-9]|[1-9][0-9]+))?\.jsonl", entry.name))
    }
    return [found[position] for position in sorted(found)]
