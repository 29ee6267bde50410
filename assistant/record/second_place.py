"""The second place, where a session continues if its folder cannot be written any more or was taken away.

It is a complete session folder that can be verified, resumed and written up like any other.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.errors import RecordProblem, UsageProblem
from assistant.places import state_folder
from assistant.record.contents import read_inside
from assistant.record.header import CLIPS, HEADER_FILE, PROCEDURES, TORN_FILE
from assistant.record.laying import lay
from assistant.record.storage import make_private_folder, write_file

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from assistant.record.logfiles import LogFiles

_TRIES = 20


def places(sessions: Path) -> list[Path]:
    """Folders to try, in order: beside the session, the user's state folder, the folder of temporary files.

    A vanished folder of sessions is not made again, because its disk may come back.
    """
    found = [sessions] if sessions.is_dir() else []
    with contextlib.suppress(UsageProblem):  # a user without a home folder
        found.append(state_folder() / "kept")
    found.append(Path(tempfile.gettempdir()) / f"bay-assistant-{os.geteuid()}")
    return found


def move(session: Path, files: LogFiles, header: bytes, copies: Mapping[str, bytes]) -> tuple[Path, int]:
    """Make the second place of a session and copy everything available into it; the log continues there.

    Args:
        session: The session's own folder, which may be gone.
        files: Its log.
        header: Contents of its `HEADER_FILE`.
        copies: Its procedures, by file name.

    Returns:
        The new folder and the descriptor that locks it.

    Raises:
        RecordProblem: No place could be written.
    """
    tried = []
    for parent in places(session.parent):
        try:
            make_private_folder(parent)
            if parent != session.parent and parent.stat().st_uid != os.geteuid():
                tried.append(f"{parent} belongs to somebody else.")
                continue
            made = _laid(parent, session.name, header, copies)
            if made is None:
                continue
            folder, lock = made
            try:
                files.copy_to(folder)
            except BaseException:
                os.close(lock)
                shutil.rmtree(folder, ignore_errors=True)
                raise
        except (OSError, RecordProblem) as error:
            tried.append(str(error))
            continue
        _copy_others(session, folder)
        return folder, lock
    raise RecordProblem(f"No second place for the record was found. {' '.join(tried)}".strip())


def _laid(parent: Path, name: str, header: bytes, copies: Mapping[str, bytes]) -> tuple[Path, int] | None:
    for number in range(1, _TRIES + 1):
        kept = f"{name}-kept" if number == 1 else f"{name}-kept-{number}"
        lock = lay(parent, kept, header, copies)
        if lock is not None:
            return parent / kept, lock
    return None


def _copy_others(session: Path, folder: Path) -> None:
    """Copy the remaining sound and the pieces set aside.

    `verify` misses files that cannot be copied; the session does not need them.
    """
    try:
        names = [f"{CLIPS}/{path.name}" for path in (session / CLIPS).glob("*.flac")]
        names += [path.name for path in session.glob(f"{TORN_FILE}*")]
    except OSError:
        return
    for name in sorted(names):
        with contextlib.suppress(OSError, RecordProblem):
            write_file(folder / name, read_inside(session, name))


def template(folder: Path, names: Iterable[str]) -> tuple[bytes, dict[str, bytes]]:
    """Header and procedures of a session from its folder, to be laid elsewhere.

    Raises:
        RecordProblem: One of them is missing or may not be read.
        RecordBroken: One of them is not a file.
    """
    copies = {name: read_inside(folder, f"{PROCEDURES}/{name}") for name in names}
    return read_inside(folder, HEADER_FILE), copies
