"""The write-up for the repair order, made from the record and nothing else."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from assistant.record.contents import read_inside
from assistant.record.header import SEAL_FILE
from assistant.record.reading import read_session, recorded_folder
from assistant.record.reviews import read_reviews
from assistant.record.storage import sha256
from assistant.record.transcripts import read_transcripts
from assistant.writeup.contents import Draft
from assistant.writeup.draft import draft
from assistant.writeup.embedding import clips_to_embed, connections_to_embed, photos_to_embed
from assistant.writeup.page import html
from assistant.writeup.plain import text
from assistant.writeup.ramps import ramps_to_embed
from assistant.writeup.statement import Source, Statement

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from assistant.core.library.library import Library
    from assistant.record.recorded import RecordedSession


def drafted(folder: Path) -> tuple[Draft, RecordedSession, Library]:
    """The write-up of a session folder, with the session and the copied procedures that it was made from.

    Raises:
        RecordProblem: The folder is not a session.
        RecordBroken: It, its reviews, its transcripts, or a procedure copied into it, were altered.
        FileProblem: Its copied procedures cannot be loaded by this version.
    """
    session = read_session(folder)
    library, knowledge = recorded_folder(session)
    record = sha256(read_inside(folder, SEAL_FILE)) if session.sealed else ""
    made = draft(
        session,
        library,
        read_reviews(folder),
        record,
        knowledge=knowledge,
        transcripts=read_transcripts(folder),
    )
    return made, session, library


def write_text(folder: Path) -> str:
    """The write-up of a session folder as text; errors as for `drafted`."""
    return text(drafted(folder)[0])


def write_html(folder: Path, *, beside: Path | None = None, embed: bool = False) -> str:
    """The write-up of a session folder as one page, with the connection of each test.

    Args:
        folder: The session.
        beside: Folder of the page, for its links to sound and photos; None means the session folder.
        embed: Whether to put sound and photos into the page instead of linking them.

    Raises:
        RecordProblem: The folder is not a session, or a clip or photo is missing.
        RecordBroken: It, its reviews, a procedure copied into it, or a clip or photo that the page names was altered.
        FileProblem: Its copied procedures cannot be loaded by this version.
    """
    return _page(folder, *drafted(folder), beside=beside, embed=embed)


def write_forms(folder: Path, *, beside: Path | None = None) -> Iterator[tuple[str, str]]:
    """The write-ups that a session leaves, by suffix, from one reading of its record: text, then the page.

    The text comes first, so that it remains if the page cannot be made, for example because a clip is missing.
    Arguments and errors are those of `write_html`.
    """
    made, session, library = drafted(folder)
    yield ".txt", text(made)
    yield ".html", _page(folder, made, session, library, beside=beside, embed=False)


def _page(
    folder: Path,
    made: Draft,
    session: RecordedSession,
    library: Library,
    *,
    beside: Path | None,
    embed: bool,
) -> str:
    sound = clips_to_embed(session, made)  # checked even if it is only linked
    way = os.path.relpath(folder, beside) if beside is not None else ""
    photos = photos_to_embed(session, made)
    drawings = connections_to_embed(session, library)
    return html(
        made,
        sound if embed else {},
        drawings,
        photos=photos if embed else {},
        ramps=ramps_to_embed(session, made),
        beside="" if way == "." else way,
    )


def write_pdf(folder: Path, progress: Callable[[float, float], None] = lambda _done, _all: None) -> bytes:
    """The write-up of a session folder as PDF; errors as for `drafted`.

    Args:
        folder: The session.
        progress: Called with about how much is done, and of how much.

    Raises:
        UsageProblem: The packages that make a PDF are not installed.
    """
    from assistant.writeup.pdf import pdf  # noqa: PLC0415  it loads a typesetter

    made, session, library = drafted(folder)
    photos = photos_to_embed(session, made)
    drawings, captured = connections_to_embed(session, library), ramps_to_embed(session, made)
    return pdf(html(made, {}, drawings, photos=photos, ramps=captured, paper=True), progress)


def write_json(folder: Path) -> str:
    """The write-up of a session folder as JSON of the published schema; errors as for `drafted`."""
    from assistant.writeup.data import to_json  # noqa: PLC0415

    return to_json(drafted(folder)[0])


__all__ = [
    "Draft",
    "Source",
    "Statement",
    "clips_to_embed",
    "connections_to_embed",
    "draft",
    "drafted",
    "html",
    "photos_to_embed",
    "text",
    "write_forms",
    "write_html",
    "write_json",
    "write_pdf",
    "write_text",
]
