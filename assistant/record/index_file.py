"""The file of the index and its tables: making it, opening it, finding damage.

Each row carries its own checksum (`assistant.record.index_rows`), because SQLite finds a broken structure but not
changed letters.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import stat
from typing import TYPE_CHECKING

from assistant.files import kind_of
from assistant.record.storage import PRIVATE_FILE, open_private

if TYPE_CHECKING:
    from pathlib import Path

INDEX_FILE = "index.sqlite3"

VERSION = 2
"""Raise it whenever the same record would give a different row, or the tables change."""

APPLICATION = 0x62617961
"""SQLite's application_id of our index ("baya"); the database of another program is left alone."""

_MAGIC = b"SQLite format 3\0"

_TABLES = """
CREATE TABLE sessions (
    number INTEGER PRIMARY KEY, folder TEXT UNIQUE NOT NULL, stamp TEXT NOT NULL, started REAL NOT NULL,
    day TEXT NOT NULL, repair_order TEXT NOT NULL, vin TEXT NOT NULL, verdicts TEXT NOT NULL,
    sealed INTEGER NOT NULL, damaged INTEGER NOT NULL, summary TEXT NOT NULL, checksum TEXT NOT NULL
) STRICT;
CREATE TABLE reviewed (
    folder TEXT PRIMARY KEY, stamp TEXT NOT NULL, body TEXT NOT NULL, checksum TEXT NOT NULL
) STRICT;
"""
_WORDS = "CREATE VIRTUAL TABLE words USING fts5(complaint, anything, tokenize = 'ascii')"
_PLAIN_WORDS = "CREATE TABLE words (complaint TEXT NOT NULL, anything TEXT NOT NULL) STRICT"


class IndexUnusable(Exception):
    """The index cannot be used now; the text says why, for a person."""


class IndexFile:
    """The file, opened by this program.

    Attributes:
        path: Its path, beside the session folders.
        full_text: Whether FTS5 searches its words.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._connection: sqlite3.Connection | None = None
        self.full_text = True

    def open(self, *, anew: bool = False) -> None:
        """Open it; make it if it is missing, damaged or of another version.

        Args:
            anew: Make it in any case.

        Raises:
            IndexUnusable: That is not possible.
        """
        for name in (INDEX_FILE, f"{INDEX_FILE}-journal"):
            _refuse_other(self.path.with_name(name))
        if not anew:
            try:
                if self._connect():
                    return
            except (sqlite3.DatabaseError, ValueError):
                pass  # damaged or impossible to open, which the next lines find out
            self.close()
        self._remove()
        try:
            if not self._connect():
                self._make()
        except sqlite3.Error as error:
            self.close()
            raise IndexUnusable(f"{INDEX_FILE} cannot be written ({error})") from error

    def close(self) -> None:
        """Let go of the file."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def _connect(self) -> bool:
        """Open the file; whether it is an intact index of this version.

        Raises:
            sqlite3.Error: It cannot be opened, or is not a database.
        """
        _make_private(self.path)
        connection = sqlite3.connect(self.path, timeout=1.0, isolation_level=None)
        self._connection = connection
        (application,) = connection.execute("PRAGMA application_id").fetchone()
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        if (application, version) == (APPLICATION, 2 * VERSION + 1):
            self.full_text = True
        elif (application, version) == (APPLICATION, 2 * VERSION):
            self.full_text = False
        else:
            return False
        (state,) = connection.execute("PRAGMA quick_check(1)").fetchone()
        return bool(state == "ok")

    def _remove(self) -> None:
        """Remove an old index, but nothing that is not ours.

        Raises:
            IndexUnusable: It belongs to another program, or cannot be removed.
        """
        try:
            with self.path.open("rb") as file:
                head = file.read(72)
            foreign = head.startswith(_MAGIC) and head[68:72] not in (
                APPLICATION.to_bytes(4, "big"),
                bytes(4),
                b"",
            )
            if foreign:
                raise IndexUnusable(f"{INDEX_FILE} belongs to another program")
            for name in (INDEX_FILE, f"{INDEX_FILE}-journal"):
                self.path.with_name(name).unlink(missing_ok=True)
        except FileNotFoundError:
            return
        except OSError as error:
            raise IndexUnusable(f"{INDEX_FILE} cannot be written ({error.strerror})") from error

    def _make(self) -> None:
        connection = self.connection
        connection.execute("BEGIN IMMEDIATE")
        for statement in _TABLES.split(";"):
            connection.execute(statement)
        self.full_text = has_full_text(connection)
        connection.execute(_WORDS if self.full_text else _PLAIN_WORDS)
        connection.execute(f"PRAGMA application_id = {APPLICATION}")
        connection.execute(f"PRAGMA user_version = {2 * VERSION + self.full_text}")
        connection.execute("COMMIT")

    @property
    def connection(self) -> sqlite3.Connection:
        """The open file; `open` comes first."""
        assert self._connection is not None  # noqa: S101  for the type checker
        return self._connection


def _refuse_other(path: Path) -> None:
    """Refuse a link or a pipe in the place of the index or its journal.

    Raises:
        IndexUnusable: It is not a file.
    """
    try:
        mode = path.lstat().st_mode
    except OSError:
        return  # it is missing, or opening it will say why not
    what = "a link" if stat.S_ISLNK(mode) else kind_of(mode)
    if what:
        raise IndexUnusable(f"{path.name} cannot be written: it is {what}, not a file")


def _make_private(path: Path) -> None:
    """Make the file before SQLite does, for its owner only, and restrict one of an earlier version.

    If the system refuses, SQLite may still be able to read.
    """
    with contextlib.suppress(OSError):
        os.close(open_private(path, os.O_RDWR | os.O_CREAT | os.O_EXCL))
    with contextlib.suppress(OSError):
        if stat.S_IMODE(path.lstat().st_mode) & ~PRIVATE_FILE:
            path.chmod(PRIVATE_FILE)


def has_full_text(connection: sqlite3.Connection) -> bool:
    """Whether this SQLite was built with FTS5."""
    return any(name == "ENABLE_FTS5" for (name,) in connection.execute("PRAGMA compile_options"))
