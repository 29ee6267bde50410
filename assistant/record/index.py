"""The index of past sessions, ``index.sqlite3`` beside them, which makes thousands quick to search.

It is only a cache: each row comes from one session folder and is read again if the size or time of a file there
changes.
It is made anew if it is missing, damaged or of another version, and deleting it loses nothing.
If it cannot be written or read, the records are read instead, which takes longer and gives the same answers.
It alone knows that a session once had reviews if every trace of them is gone from the folder.
Such a session is listed as damaged until its reviews are back or the index is made anew.
It holds customers' data, so only its owner can read it; a link or a pipe in its place is not used.

Two programs take turns: each locks the folder of the sessions while it looks (a crash lets go of the lock).
FTS5, SQLite's full-text search, finds the words; if SQLite was built without it, they are compared one by one.
Words are prepared by `searching.words_of` and written as plain letters and digits (`_coded`), so that both ways
agree on what a word is.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import sqlite3
import time
from typing import TYPE_CHECKING, Any, TypeVar

from assistant.record import index_rows
from assistant.record.index_file import INDEX_FILE, IndexFile, IndexUnusable
from assistant.record.searching import Found, Wanted, cannot_tell, fits
from assistant.record.storage import read_problem
from assistant.record.summaries import newest_first, session_folders, summarise

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

WAIT_S = 15.0
"""Time for which one program waits for another that has the index, s: enough to index some thousands of sessions."""


_Answer = TypeVar("_Answer")


def find_sessions(
    parent: Path,
    wanted: Wanted = Wanted(),  # noqa: B008  a value that nobody can change
    *,
    rebuild: bool = False,
    progress: Callable[[int, int], None] = lambda _done, _of: None,
) -> Found:
    """The sessions of a folder that match a search.

    Args:
        parent: Folder of all sessions.
        wanted: The search.
        rebuild: Make the index anew from the records first.
        progress: Called with (read, total) if records have to be read.

    Raises:
        RecordProblem: The folder may not be read.
    """
    folders = session_folders(parent)
    if not folders:
        return Found()
    try:
        with _opened(parent, rebuild=rebuild) as index:
            return _retried(index, lambda: index_rows.search(index, folders, wanted, progress))
    except IndexUnusable as why:
        return _read(folders, wanted, (_instead(parent, why),), progress)


def _read(
    folders: Sequence[Path], wanted: Wanted, notices: tuple[str, ...], progress: Callable[[int, int], None]
) -> Found:
    """The same from the records."""
    everything = []
    for done, folder in enumerate(folders, start=1):
        everything.append(summarise(folder))
        progress(done, len(folders))
    everything = newest_first(everything)
    return Found(
        tuple(one for one in everything if fits(one, wanted)),
        len(everything),
        tuple(one for one in everything if cannot_tell(one, wanted)),
        frozenset(name for one in everything for name in one.verdicts),
        notices,
    )


def _instead(parent: Path, why: IndexUnusable) -> str:
    return f"The index of {parent} is not used: {why}. The records are read instead, which takes longer."


def kept_for_reviewed(
    parent: Path, folders: Sequence[Path], make: Callable[[Path], dict[str, Any]]
) -> dict[str, dict[str, Any]]:
    """The derived object of each reviewed session, kept in the index until a file of the session changes.

    Args:
        parent: Folder of all sessions.
        folders: The sessions in question.
        make: Derives the JSON object.

    Returns:
        The objects by the names of the session folders.
    """
    if not folders:
        return {}  # a mere search creates nothing
    try:
        with _opened(parent) as index:
            return _retried(index, lambda: index_rows.reviewed(index, folders, make))
    except IndexUnusable:
        return {folder.name: make(folder) for folder in folders}


@contextlib.contextmanager
def _opened(parent: Path, *, rebuild: bool = False) -> Iterator[IndexFile]:
    """The index of a folder, for this program alone.

    Raises:
        IndexUnusable: It cannot be locked, read or written.
    """
    lock = _lock(parent)
    try:
        index = IndexFile(parent / INDEX_FILE)
        try:
            index.open(anew=rebuild)
            yield index
        finally:
            index.close()
    finally:
        os.close(lock)


def _lock(parent: Path) -> int:
    try:
        descriptor = os.open(parent, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    except OSError as error:
        raise IndexUnusable(str(read_problem(error, parent)).rstrip(".")) from error
    until = time.monotonic() + WAIT_S
    while True:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if time.monotonic() < until:
                time.sleep(0.02)
                continue
            os.close(descriptor)
            raise IndexUnusable("another bay-assistant has been making it for a while") from None
        except OSError as error:
            os.close(descriptor)
            raise IndexUnusable(f"the folder cannot be locked ({error.strerror})") from error
        return descriptor


def _retried(index: IndexFile, look: Callable[[], _Answer]) -> _Answer:
    """Search; if the index turns out to be damaged, make it anew and search again.

    Raises:
        IndexUnusable: It cannot be used after that either.
    """
    try:
        return look()
    except (sqlite3.Error, ValueError, TypeError, KeyError):
        index.close()
        index.open(anew=True)
    try:
        return look()
    except sqlite3.Error as error:
        raise IndexUnusable(f"{INDEX_FILE} cannot be used ({error})") from error
