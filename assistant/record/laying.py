"""A session's folder: built aside and named in one move, locked for one writer, cleaned up after a crash."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import re
import shutil
from typing import TYPE_CHECKING

from assistant.errors import RecordProblem
from assistant.record.header import CLIPS, HEADER_FILE, PROCEDURES
from assistant.record.storage import (
    PRIVATE_FILE,
    PRIVATE_FOLDER,
    make_private_folder,
    sync_folder,
    write_file,
    write_problem,
)

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

_ASIDE = re.compile(r"\.[0-9]{4}-[0-9]{2}-[0-9]{2}-[0-9]{4}-[0-9a-z]{4}(-kept(-[0-9]+)?)?\.(new|gone)")
"""Names of the folders that `lay` builds aside and `expiring` deletes; nothing else is cleaned up."""


def lay(parent: Path, name: str, header: bytes, copies: Mapping[str, bytes]) -> int | None:
    """Build a session folder aside and give it its name in one move.

    Args:
        parent: Folder of the sessions, which must exist.
        name: Name of the session.
        header: Contents of `HEADER_FILE`.
        copies: The copied procedures, by file name.

    Returns:
        The descriptor that holds the lock; None if the name is taken.

    Raises:
        RecordProblem: It cannot be written; no part of it remains.
    """
    aside = parent / f".{name}.new"
    hold = lock = None
    try:
        try:
            aside.mkdir(PRIVATE_FOLDER)
        except FileExistsError:
            return None  # somebody else's
        hold = _held(aside)
        if hold is None:
            return None  # another program cleaned it up before it was locked
        aside.chmod(PRIVATE_FOLDER)
        for folder in (CLIPS, PROCEDURES):
            make_private_folder(aside / folder)
        for file, data in copies.items():
            write_file(aside / PROCEDURES / file, data)
        write_file(aside / HEADER_FILE, header)
        lock = take_lock(aside)
        # The system refuses a move onto a folder that is not empty, and a session is never empty.
        aside.rename(parent / name)
        sync_folder(parent)
    except BaseException as error:
        _forget(aside, lock)
        if not isinstance(error, OSError):
            raise
        if error.errno in (errno.EEXIST, errno.ENOTEMPTY):
            return None
        raise write_problem(error, parent / name) from error
    finally:
        if hold is not None:
            os.close(hold)
    return lock


def sweep(parent: Path) -> None:
    """Remove the folders that `lay` or a deletion left aside when the program was killed.

    A folder that another program is building right now is locked by it and stays.
    A folder that cannot be removed stays; it does not hinder a new session.
    """
    with contextlib.suppress(OSError):
        for entry in [*parent.iterdir()]:
            if not _ASIDE.fullmatch(entry.name) or entry.is_symlink() or not entry.is_dir():
                continue
            hold = _held(entry)
            if hold is not None:
                shutil.rmtree(entry, ignore_errors=True)
                os.close(hold)


def take_lock(folder: Path) -> int:
    """Lock a session for one writer until the descriptor is closed, even by a crash.

    Raises:
        RecordProblem: Another program is writing it, or it may not be written.
    """
    path = folder / HEADER_FILE
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CLOEXEC | os.O_NONBLOCK | os.O_NOFOLLOW)
    except OSError as error:
        raise write_problem(error, path) from error
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(descriptor)
        raise RecordProblem(
            f"The session {folder.name} is in use by another bay-assistant. Close that one first."
        ) from error
    return descriptor


def tidy(folder: Path) -> None:
    """Make an older session private, and remove the hidden files that a crash left half written.

    Files that may not be changed stay unchanged: a session that can be written can go on.
    """
    with contextlib.suppress(OSError):
        folder.chmod(PRIVATE_FOLDER)
        for entry in [*folder.rglob("*")]:
            if entry.is_symlink():
                continue
            if entry.is_dir():
                entry.chmod(PRIVATE_FOLDER)
            elif entry.is_file():
                if entry.name.startswith(".") and entry.name.endswith(".part"):
                    entry.unlink()
                else:
                    entry.chmod(PRIVATE_FILE)


def _held(folder: Path) -> int | None:
    """A descriptor that keeps others from cleaning up this folder; None if another program has it."""
    descriptor = None
    try:
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC | os.O_NOFOLLOW)
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if os.path.samestat(os.fstat(descriptor), folder.stat()):
            return descriptor
    except OSError:
        pass
    if descriptor is not None:
        os.close(descriptor)
    return None


def _forget(aside: Path, lock: int | None) -> None:
    if lock is not None:
        os.close(lock)
    shutil.rmtree(aside, ignore_errors=True)
