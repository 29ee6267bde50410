"""The index of past sessions: ``index.sqlite3`` beside them, so that thousands are searched at once.

It is never the truth: each row was read from one session folder, and is read again when a file of that folder has
another size or time.
It is made anew whenever it is missing, damaged, or of another version, and deleting it loses nothing.
Where it cannot be written or read, the records are read instead, which takes longer and gives the same answers.
One thing it alone knows: that a session had reviews whose every trace is gone from its folder now.
Such a session is listed as damaged until its reviews are back or the index is made anew.
It holds customers' data, so only its owner can read it; a link or a pipe in its place is not used.

Two programs take turns: each locks the folder of the sessions while it looks (a crash lets go of the lock).
The words are searched by FTS5, SQLite's full-text search; where SQLite was built without it, they are compared one
by one.
Words are prepared by `searching.words_of` and written as plain letters and digits (`_coded`), so that both ways
agree on what a word is.
"""

from __future__ import annotations

import contextlib
import dataclasses
import fcntl
import json
import os
import re
import sqlite3
import stat
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from assistant.files import kind_of
from assistant.record.header import HEADER_FILE, REVIEWS_FILE, REVIEWS_HEAD_FILE, SEAL_FILE
from assistant.record.searching import Wanted, cannot_tell, fits, known_words, order_sign, words_of
from assistant.record.storage import PRIVATE_FILE, open_private, read_problem, sha256
from assistant.record.summaries import (
    Summary,
    newest_first,
    session_folders,
    summarise,
    summary_from_json,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

INDEX_FILE = "index.sqlite3"

VERSION = 2
"""To be raised whenever a row would be read otherwise from the same record, or the tables change."""

APPLICATION = 0x62617961
"""SQLite's application_id of our index ("baya"): a database of another program is left alone."""

WAIT_S = 15.0
"""How long one program waits for another that has the index, s: as long as it takes to make it for some thousands."""

_MAGIC = b"SQLite format 3\0"
_WATCHED = re.compile(
    rf"{re.escape(HEADER_FILE)}|{re.escape(SEAL_FILE)}|{re.escape(REVIEWS_FILE)}|{re.escape(REVIEWS_HEAD_FILE)}"
    r"|log.*\.jsonl|writeup-.*\.txt"
)

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


_Answer = TypeVar("_Answer")


class _Unusable(Exception):
    """The index cannot be used now; the text says why, for a person."""


@dataclass(frozen=True)
class Found:
    """What a search found.

    Attributes:
        summaries: The sessions, newest first.
        of: How many sessions there are.
        unsearched: Damaged sessions that may or may not be what is looked for.
        verdicts: Names of all verdicts that were reached in sessions.
        notices: What the person should know about the search, a sentence each.
    """

    summaries: tuple[Summary, ...] = ()
    of: int = 0
    unsearched: tuple[Summary, ...] = ()
    verdicts: frozenset[str] = frozenset()
    notices: tuple[str, ...] = ()


def find_sessions(
    parent: Path,
    wanted: Wanted = Wanted(),  # noqa: B008  a value that nobody can change
    *,
    rebuild: bool = False,
    progress: Callable[[int, int], None] = lambda _done, _of: None,
) -> Found:
    """The sessions of a folder that are what is looked for.

    Args:
        parent: Folder of all sessions.
        wanted: What is looked for.
        rebuild: Make the index anew from the records first.
        progress: Told how many of how many records were read, when some have to be.

    Raises:
        RecordProblem: The folder may not be read.
    """
    folders = session_folders(parent)
    if not folders:
        return Found()
    try:
        with _opened(parent, rebuild=rebuild) as index:
            return _retried(index, lambda: index.search(folders, wanted, progress))
    except _Unusable as why:
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


def _instead(parent: Path, why: _Unusable) -> str:
    return f"The index of {parent} is not used: {why}. The records are read instead, which takes longer."


def kept_for_reviewed(
    parent: Path, folders: Sequence[Path], make: Callable[[Path], dict[str, Any]]
) -> dict[str, dict[str, Any]]:
    """What was worked out of each reviewed session, kept in the index until a file of the session changes.

    Args:
        parent: Folder of all sessions.
        folders: The sessions that are asked about.
        make: Works it out; a JSON object.

    Returns:
        It, by the name of the session folder.
    """
    if not folders:
        return {}  # nothing is made by looking
    try:
        with _opened(parent) as index:
            return _retried(index, lambda: index.reviewed(folders, make))
    except _Unusable:
        return {folder.name: make(folder) for folder in folders}


def stamp(folder: Path) -> str:
    """Size and times of the files of a session that the index rests on; another stamp, and it is read again.

    The time of the last change of the file's state is in it, too: one who alters a record and then puts its time
    back is found out.
    Clips and copied procedures are not in it: they are looked at only when something else has changed.
    """
    found = []
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                if _WATCHED.fullmatch(entry.name):
                    state = entry.stat(follow_symlinks=False)
                    found.append(f"{entry.name}:{state.st_size}:{state.st_mtime_ns}:{state.st_ctime_ns}")
    except OSError as error:
        return f"unreadable: {error.errno}"
    return " ".join(sorted(found))


# --- opening --------------------------------------------------------------------------------------


@contextlib.contextmanager
def _opened(parent: Path, *, rebuild: bool = False) -> Iterator[_Index]:
    """The index of a folder, for this program alone.

    Raises:
        _Unusable: It cannot be locked, read or written.
    """
    lock = _lock(parent)
    try:
        index = _Index(parent / INDEX_FILE)
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
        raise _Unusable(str(read_problem(error, parent)).rstrip(".")) from error
    until = time.monotonic() + WAIT_S
    while True:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if time.monotonic() < until:
                time.sleep(0.02)
                continue
            os.close(descriptor)
            raise _Unusable("another bay-assistant has been making it for a while") from None
        except OSError as error:
            os.close(descriptor)
            raise _Unusable(f"the folder cannot be locked ({error.strerror})") from error
        return descriptor


def _retried(index: _Index, look: Callable[[], _Answer]) -> _Answer:
    """Look; if the index turns out to be damaged, make it anew and look again.

    Raises:
        _Unusable: It cannot be used after that either.
    """
    try:
        return look()
    except (sqlite3.Error, ValueError, TypeError, KeyError):
        index.close()
        index.open(anew=True)
    try:
        return look()
    except sqlite3.Error as error:
        raise _Unusable(f"{INDEX_FILE} cannot be used ({error})") from error


class _Index:
    """The file, opened by this program."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._connection: sqlite3.Connection | None = None
        self._full_text = True

    def open(self, *, anew: bool = False) -> None:
        """Open it; make it where it is missing, damaged or of another version.

        Args:
            anew: Make it in any case.

        Raises:
            _Unusable: That is not possible.
        """
        for name in (INDEX_FILE, f"{INDEX_FILE}-journal"):
            _refuse_other(self._path.with_name(name))
        if not anew:
            try:
                if self._connect():
                    return
            except (sqlite3.DatabaseError, ValueError):
                pass  # damaged, or not to be opened: what follows finds out
            self.close()
        self._remove()
        try:
            if not self._connect():
                self._make()
        except sqlite3.Error as error:
            self.close()
            raise _Unusable(f"{INDEX_FILE} cannot be written ({error})") from error

    def close(self) -> None:
        """Let go of the file."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def _connect(self) -> bool:
        """Open the file; whether it is an index of this version that is whole.

        Raises:
            sqlite3.Error: It cannot be opened, or is no database.
        """
        _make_private(self._path)
        connection = sqlite3.connect(self._path, timeout=1.0, isolation_level=None)
        self._connection = connection
        (application,) = connection.execute("PRAGMA application_id").fetchone()
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        if (application, version) == (APPLICATION, 2 * VERSION + 1):
            self._full_text = True
        elif (application, version) == (APPLICATION, 2 * VERSION):
            self._full_text = False
        else:
            return False
        (state,) = connection.execute("PRAGMA quick_check(1)").fetchone()
        return bool(state == "ok")

    def _remove(self) -> None:
        """Take an old index away, but nothing that is not ours.

        Raises:
            _Unusable: It is another program's, or cannot be taken away.
        """
        try:
            with self._path.open("rb") as file:
                head = file.read(72)
            foreign = head.startswith(_MAGIC) and head[68:72] not in (
                APPLICATION.to_bytes(4, "big"),
                bytes(4),
                b"",
            )
            if foreign:
                raise _Unusable(f"{INDEX_FILE} belongs to another program")
            for name in (INDEX_FILE, f"{INDEX_FILE}-journal"):
                self._path.with_name(name).unlink(missing_ok=True)
        except FileNotFoundError:
            return
        except OSError as error:
            raise _Unusable(f"{INDEX_FILE} cannot be written ({error.strerror})") from error

    def _make(self) -> None:
        connection = self._open
        connection.execute("BEGIN IMMEDIATE")
        for statement in _TABLES.split(";"):
            connection.execute(statement)
        self._full_text = has_full_text(connection)
        connection.execute(_WORDS if self._full_text else _PLAIN_WORDS)
        connection.execute(f"PRAGMA application_id = {APPLICATION}")
        connection.execute(f"PRAGMA user_version = {2 * VERSION + self._full_text}")
        connection.execute("COMMIT")

    @property
    def _open(self) -> sqlite3.Connection:
        assert self._connection is not None  # noqa: S101  `open` comes first
        return self._connection

    # --- the sessions ---

    def search(self, folders: Sequence[Path], wanted: Wanted, progress: Callable[[int, int], None]) -> Found:
        """Read again what has changed, then look."""
        parent = self._path.parent
        self._refresh(folders, progress)
        connection = self._open
        where, values = self._where(wanted)
        query = f"SELECT summary FROM sessions WHERE {where}"  # noqa: S608  no value is in it
        rows = connection.execute(query, values)
        summaries = [summary_from_json(json.loads(row), parent) for (row,) in rows]
        if wanted.words or wanted.complaint:
            if self._full_text:  # raises when the words that are found are not those that are kept
                connection.execute("INSERT INTO words (words) VALUES ('integrity-check')")
            summaries = summaries if self._full_text else [one for one in summaries if fits(one, wanted)]
        damaged = connection.execute("SELECT summary FROM sessions WHERE damaged")
        unsure = [summary_from_json(json.loads(row), parent) for (row,) in damaged]
        verdicts = connection.execute("SELECT DISTINCT verdicts FROM sessions")
        return Found(
            tuple(newest_first(summaries)),
            len(folders),
            tuple(newest_first([one for one in unsure if cannot_tell(one, wanted)])),
            frozenset(name for (names,) in verdicts for name in names.split()),
        )

    def _where(self, wanted: Wanted) -> tuple[str, list[Any]]:
        """The search in SQL: conditions, and the values that belong to them."""
        parts: list[tuple[str, Any]] = []
        if wanted.sealed is not None:
            parts.append(("sealed = ?", int(wanted.sealed)))
        if wanted.order:
            parts.append(("repair_order = ?", _whole(order_sign(wanted.order))))
        if wanted.vin:
            parts.append(("instr(vin, ?) > 0", wanted.vin))
        if wanted.since:
            parts.append(("day >= ?", wanted.since.isoformat()))
        if wanted.until:
            parts.append(("day <> '' AND day <= ?", wanted.until.isoformat()))
        if wanted.verdict:
            parts.append(("instr(verdicts, ?) > 0", f" {_whole(wanted.verdict)} "))
        if self._full_text:
            for column, words in (("complaint", wanted.complaint), ("anything", wanted.words)):
                if words:
                    sought = " AND ".join(f'"{_coded(word)}" *' for word in words)
                    match = "number IN (SELECT rowid FROM words WHERE words MATCH ?)"
                    parts.append((match, f"{column} : ({sought})"))
        conditions = " AND ".join(condition for condition, _ in parts)
        return conditions or "1", [value for _, value in parts]

    def _refresh(self, folders: Sequence[Path], progress: Callable[[int, int], None]) -> None:
        connection = self._open
        now = {_key(folder): (stamp(folder), folder) for folder in folders}
        kept = self._whole_rows()
        gone = [name for name in kept if name not in now]
        changed = [name for name, (state, _) in now.items() if kept.get(name) != state]
        if not gone and not changed:
            return
        reviewed = self._reviews(changed)
        connection.execute("BEGIN IMMEDIATE")
        try:
            for name in (*gone, *changed):
                connection.execute(
                    "DELETE FROM words WHERE rowid = (SELECT number FROM sessions WHERE folder = ?)", (name,)
                )
                connection.execute("DELETE FROM sessions WHERE folder = ?", (name,))
            for done, name in enumerate(changed, start=1):
                self._insert(*now[name], reviewed.get(name, ""))
                progress(done, len(changed))
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise

    def _whole_rows(self) -> dict[str, str]:
        """Stamp of each session that is kept, every row held against its checksum.

        SQLite finds a file whose order is broken, but not one in which letters changed.

        Raises:
            ValueError: A row is not what was written.
        """
        rows = self._open.execute(
            "SELECT sessions.*, complaint, anything FROM sessions LEFT JOIN words ON words.rowid = number"
        )
        kept: dict[str, str] = {}
        for *row, checksum, complaint, anything in rows:
            if _checksum([*row, complaint, anything]) != checksum:
                raise ValueError("a row of the index was altered")
            kept[row[1]] = row[2]
        return kept

    def _reviews(self, names: Sequence[str]) -> dict[str, str]:
        """What was known of the reviews of these sessions, where they had any."""
        found = {}
        for name in names:
            for (row,) in self._open.execute("SELECT summary FROM sessions WHERE folder = ?", (name,)):
                found[name] = json.loads(row)["review"]
        return found

    def _insert(self, state: str, folder: Path, reviewed: str) -> None:
        summary = summarise(folder)
        if reviewed and not summary.review and not summary.problem:
            summary = dataclasses.replace(
                summary,
                review=reviewed,  # so that it is still missed when the session changes once more
                problem="It was reviewed, and its reviews are gone. Take the session from a copy.",
            )
        (number,) = self._open.execute("SELECT coalesce(max(number), 0) + 1 FROM sessions").fetchone()
        row = [
            number,
            _key(folder),
            state,
            summary.started.timestamp() if summary.started else 0.0,
            summary.day.isoformat() if summary.day else "",
            _whole(order_sign(summary.facts.order)),
            _whole(summary.facts.vin),
            _whole(f" {' '.join(summary.verdicts)} "),
            int(summary.sealed),
            int(bool(summary.problem)),
            # Only signs of ASCII, so that a lone surrogate that was typed is kept.
            json.dumps({**summary.to_json(), "folder": folder.name}),
        ]
        texts = (words_of(summary.facts.complaint), known_words(summary))
        words = [" ".join(map(_coded, one)) for one in texts]
        marks = ", ".join("?" * (len(row) + 1))
        self._open.execute(f"INSERT INTO sessions VALUES ({marks})", (*row, _checksum([*row, *words])))  # noqa: S608
        self._open.execute(
            "INSERT INTO words (rowid, complaint, anything) VALUES (?, ?, ?)", (number, *words)
        )

    # --- what reviewed sessions taught ---

    def reviewed(
        self, folders: Sequence[Path], make: Callable[[Path], dict[str, Any]]
    ) -> dict[str, dict[str, Any]]:
        """What `make` gives for each session, made only where a session has changed."""
        connection = self._open
        kept: dict[str, tuple[str, str]] = {}
        for *row, checksum in connection.execute("SELECT * FROM reviewed"):
            if _checksum(row) != checksum:
                raise ValueError("a row of the index was altered")
            kept[row[0]] = (row[1], row[2])
        found: dict[str, dict[str, Any]] = {}
        fresh: list[tuple[str, str, str, str]] = []
        for folder in folders:
            state = stamp(folder)
            was, body = kept.get(_key(folder), ("", ""))
            found[folder.name] = json.loads(body) if was == state else make(folder)
            if was != state:
                made = (_key(folder), state, json.dumps(found[folder.name]))
                fresh.append((*made, _checksum(made)))
        names = {_key(folder) for folder in folders}
        gone = [(name,) for name in kept if name not in names]
        if fresh or gone:
            connection.execute("BEGIN IMMEDIATE")
            try:
                connection.executemany("DELETE FROM reviewed WHERE folder = ?", gone)
                connection.executemany("INSERT OR REPLACE INTO reviewed VALUES (?, ?, ?, ?)", fresh)
                connection.execute("COMMIT")
            except BaseException:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise
        return found


def _refuse_other(path: Path) -> None:
    """Neither follow a link in the place of the index or its journal nor wait for a pipe.

    Raises:
        _Unusable: What stands there is no file.
    """
    try:
        mode = path.lstat().st_mode
    except OSError:
        return  # it is missing, or whoever opens it hears why not
    what = "a link" if stat.S_ISLNK(mode) else kind_of(mode)
    if what:
        raise _Unusable(f"{path.name} cannot be written: it is {what}, not a file")


def _make_private(path: Path) -> None:
    """Make the file before SQLite does, for its owner only, and tighten one of an earlier version.

    What the system refuses is left to SQLite, which may still be able to read.
    """
    with contextlib.suppress(OSError):
        os.close(open_private(path, os.O_RDWR | os.O_CREAT | os.O_EXCL))
    with contextlib.suppress(OSError):
        if stat.S_IMODE(path.lstat().st_mode) & ~PRIVATE_FILE:
            path.chmod(PRIVATE_FILE)


def has_full_text(connection: sqlite3.Connection) -> bool:
    """Whether this SQLite was built with FTS5."""
    return any(name == "ENABLE_FTS5" for (name,) in connection.execute("PRAGMA compile_options"))


def _checksum(row: Sequence[object]) -> str:
    return sha256(repr(list(row)).encode("utf-8", "backslashreplace"))


def _whole(text: str) -> str:
    """Text as SQLite can keep it: a lone surrogate, which no UTF-8 has, becomes a question mark."""
    return text.encode("utf-8", "replace").decode("utf-8")


def _key(folder: Path) -> str:
    """The name of a folder as SQLite can keep it, also one with bytes that are no UTF-8."""
    return folder.name.encode("utf-8", "backslashreplace").decode("utf-8")


def _coded(word: str) -> str:
    """A word in small letters and digits of ASCII, so that every tokenizer leaves it whole.

    "z" becomes "zz", and any other sign "zq" with its six hexadecimal digits; no code begins another, so a word
    begins with a beginning exactly when its code begins with that of the beginning.
    """
    return "".join(
        sign if "a" <= sign <= "y" or "0" <= sign <= "9" else "zz" if sign == "z" else f"zq{ord(sign):06x}"
        for sign in word
    )
