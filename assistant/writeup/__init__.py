"""The write-up for the repair order: what was done and seen, from the record and nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.record.reading import read_session, recorded_library
from assistant.writeup.draft import Draft, draft
from assistant.writeup.page import clips_to_embed, connections_to_embed, html
from assistant.writeup.plain import text

if TYPE_CHECKING:
    from pathlib import Path


def write_text(folder: Path) -> str:
    """The write-up of a session folder as text, with the procedures that were copied into it.

    Raises:
        RecordProblem: The folder is not a session.
        RecordBroken: It, or a procedure copied into it, was altered.
        FileProblem: Its copied procedures cannot be loaded by this version.
    """
    session = read_session(folder)
    return text(draft(session, recorded_library(session)))


def write_html(folder: Path) -> str:
    """The write-up of a session folder as one page, with the sound that it names and the connection of each test.

    Raises:
        RecordProblem: The folder is not a session, or a clip is missing.
        RecordBroken: It, or a procedure copied into it, was altered.
        FileProblem: Its copied procedures cannot be loaded by this version.
    """
    session = read_session(folder)
    library = recorded_library(session)
    made = draft(session, library)
    return html(made, clips_to_embed(session, made), connections_to_embed(session, library))


__all__ = [
    "Draft",
    "clips_to_embed",
    "connections_to_embed",
    "draft",
    "html",
    "text",
    "write_html",
    "write_text",
]
