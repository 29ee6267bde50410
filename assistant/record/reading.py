"""Reads a session back for the write-up, for replay or for resuming, and returns only intact sessions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.errors import RecordBroken, RecordProblem
from assistant.loading.folder import load_folder
from assistant.record.contents import read_inside
from assistant.record.header import PROCEDURES
from assistant.record.recorded import RecordedSession, clip_name_is_ours
from assistant.record.scanning import Scan, scan_session
from assistant.record.storage import sha256

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.core.values.events import Clip


def read_session(folder: Path) -> RecordedSession:
    """Read a session for the write-up, for replay or for resuming.

    If a power failure cut the last line short, it is left out and counted in `RecordedSession.torn`.

    Raises:
        RecordProblem: The folder is not a session, or may not be read.
        RecordBroken: It was altered, or cut in the middle.
    """
    return recorded_session(scan_session(folder))


def recorded_session(scan: Scan) -> RecordedSession:
    """The session that was read, if it is intact.

    Raises:
        RecordBroken: It is not.
    """
    folder = scan.folder
    if scan.findings or scan.header is None:
        first = scan.findings[0]
        raise RecordBroken(
            f"The session {folder.name} is not what was recorded. {first} "
            f"'bay-assistant verify {folder}' lists everything that is wrong."
        )
    return RecordedSession(
        header=scan.header,
        lines=tuple(scan.lines),
        torn=sum(map(len, scan.tails.values())),
        sealed=scan.seal,
        logs=tuple(scan.logs),
        folder=folder,
        repeated=scan.repeated[0] if scan.repeated else 0,
    )


def recorded_library(session: RecordedSession) -> Library:
    """The procedures that were copied into a session; errors as for `recorded_folder`."""
    return recorded_folder(session)[0]


def recorded_folder(session: RecordedSession) -> tuple[Library, Knowledge | None]:
    """The procedures that were copied into a session, each file checked against its checksum in the header.

    Raises:
        RecordProblem: The session was not read from a folder, or a file is missing.
        RecordBroken: A file was altered.
        FileProblem: They cannot be loaded by this version.
    """
    if session.folder is None:
        raise RecordProblem(f"The session {session.header.id} has no folder to take its procedures from.")
    folder = session.folder / PROCEDURES
    for name in sorted(path.name for path in [*folder.glob("*.yaml"), *folder.glob("*.json")]):
        if name not in session.header.procedures:
            raise RecordBroken(f"{PROCEDURES}/{name} was put in after the session began. Take it out.")
    for name, checksum in session.header.procedures.items():
        if sha256(read_inside(session.folder, f"{PROCEDURES}/{name}")) != checksum:
            raise RecordBroken(f"{PROCEDURES}/{name} was altered: it is not the procedure that was used.")
    return load_folder(folder)


def read_clip(folder: Path, clip: Clip) -> bytes:
    """The bytes of a FLAC file of a session.

    Raises:
        RecordProblem: It is missing or may not be read.
        RecordBroken: It was altered.
    """
    if not clip_name_is_ours(clip.file):
        raise RecordBroken(f"The log names {clip.file!r} as a clip, which no session has.")
    data = read_inside(folder, clip.file)
    if sha256(data) != clip.sha256:
        raise RecordBroken(f"{clip.file} was altered: it is not the sound that was recorded.")
    return data
