"""The rows of the index: refreshed from changed sessions, searched, and checked against their checksums.

`searching.words_of` prepares the words, which are written as plain letters and digits (`_coded`), so that FTS5
and the word-by-word comparison agree on what a word is.
"""

from __future__ import annotations

import dataclasses
import json
import os
import re
from typing import TYPE_CHECKING, Any

from assistant.record.header import HEADER_FILE, REVIEWS_FILE, REVIEWS_HEAD_FILE, SEAL_FILE, TRANSCRIPTS_FILE
from assistant.record.searching import Found, Wanted, cannot_tell, fits, known_words, order_sign, words_of
from assistant.record.storage import sha256
from assistant.record.summaries import newest_first, summarise, summary_from_json

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from assistant.record.index_file import IndexFile
_WATCHED = re.compile(
    rf"{re.escape(HEADER_FILE)}|{re.escape(SEAL_FILE)}|{re.escape(REVIEWS_FILE)}|{re.escape(REVIEWS_HEAD_FILE)}"
    rf"|{re.escape(TRANSCRIPTS_FILE)}|log.*\.jsonl|writeup-.*\.txt"
)


def stamp(folder: Path) -> str:
    """Size and times of the files of a session that the index depends on; a changed stamp means that it is read
    again.

    It includes the time of the last change of the file's state, which gives away a record that was altered and
    had its time set back.
    It leaves out clips and copied procedures, which are checked only if something else has changed.
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


def search(
    index: IndexFile, folders: Sequence[Path], wanted: Wanted, progress: Callable[[int, int], None]
) -> Found:
    """Read changed sessions again, then search."""
    parent = index.path.parent
    _refresh(index, folders, progress)
    connection = index.connection
    where, values = _where(wanted, full_text=index.full_text)
    query = f"SELECT summary FROM sessions WHERE {where}"  # noqa: S608  no value is in it
    rows = connection.execute(query, values)
    summaries = [summary_from_json(json.loads(row), parent) for (row,) in rows]
    if wanted.words or wanted.complaint:
        if index.full_text:  # raises if the searchable words differ from the stored ones
            connection.execute("INSERT INTO words (words) VALUES ('integrity-check')")
        summaries = summaries if index.full_text else [one for one in summaries if fits(one, wanted)]
    damaged = connection.execute("SELECT summary FROM sessions WHERE damaged")
    unsure = [summary_from_json(json.loads(row), parent) for (row,) in damaged]
    verdicts = connection.execute("SELECT DISTINCT verdicts FROM sessions")
    return Found(
        tuple(newest_first(summaries)),
        len(folders),
        tuple(newest_first([one for one in unsure if cannot_tell(one, wanted)])),
        frozenset(name for (names,) in verdicts for name in names.split()),
    )


def _where(wanted: Wanted, *, full_text: bool) -> tuple[str, list[Any]]:
    """The search in SQL: conditions with their values."""
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
    if full_text:
        for column, words in (("complaint", wanted.complaint), ("anything", wanted.words)):
            if words:
                sought = " AND ".join(f'"{_coded(word)}" *' for word in words)
                match = "number IN (SELECT rowid FROM words WHERE words MATCH ?)"
                parts.append((match, f"{column} : ({sought})"))
    conditions = " AND ".join(condition for condition, _ in parts)
    return conditions or "1", [value for _, value in parts]


def _refresh(index: IndexFile, folders: Sequence[Path], progress: Callable[[int, int], None]) -> None:
    connection = index.connection
    now = {_key(folder): (stamp(folder), folder) for folder in folders}
    kept = _whole_rows(connection)
    gone = [name for name in kept if name not in now]
    changed = [name for name, (state, _) in now.items() if kept.get(name) != state]
    if not gone and not changed:
        return
    reviewed = _reviews(connection, changed)
    connection.execute("BEGIN IMMEDIATE")
    try:
        for name in (*gone, *changed):
            connection.execute(
                "DELETE FROM words WHERE rowid = (SELECT number FROM sessions WHERE folder = ?)", (name,)
            )
            connection.execute("DELETE FROM sessions WHERE folder = ?", (name,))
        for done, name in enumerate(changed, start=1):
            _insert(connection, *now[name], reviewed.get(name, ""))
            progress(done, len(changed))
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _whole_rows(connection: sqlite3.Connection) -> dict[str, str]:
    """The stored stamp of each session, after checking every row against its checksum.

    SQLite finds a file whose order is broken, but not one in which letters changed.

    Raises:
        ValueError: A row was altered.
    """
    rows = connection.execute(
        "SELECT sessions.*, complaint, anything FROM sessions LEFT JOIN words ON words.rowid = number"
    )
    kept: dict[str, str] = {}
    for *row, checksum, complaint, anything in rows:
        if _checksum([*row, complaint, anything]) != checksum:
            raise ValueError("a row of the index was altered")
        kept[row[1]] = row[2]
    return kept


def _reviews(connection: sqlite3.Connection, names: Sequence[str]) -> dict[str, str]:
    """The known reviews of these sessions, if they had any."""
    found = {}
    for name in names:
        for (row,) in connection.execute("SELECT summary FROM sessions WHERE folder = ?", (name,)):
            found[name] = json.loads(row)["review"]
    return found


def _insert(connection: sqlite3.Connection, state: str, folder: Path, reviewed: str) -> None:
    summary = summarise(folder)
    if reviewed and not summary.review and not summary.problem:
        summary = dataclasses.replace(
            summary,
            review=reviewed,  # so that it is still missed if the session changes again
            problem="It was reviewed, and its reviews are gone. Take the session from a copy.",
        )
    (number,) = connection.execute("SELECT coalesce(max(number), 0) + 1 FROM sessions").fetchone()
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
        # Only ASCII, so that a lone surrogate that somebody typed is kept.
        json.dumps({**summary.to_json(), "folder": folder.name}),
    ]
    texts = (words_of(summary.facts.complaint), known_words(summary))
    words = [" ".join(map(_coded, one)) for one in texts]
    marks = ", ".join("?" * (len(row) + 1))
    connection.execute(f"INSERT INTO sessions VALUES ({marks})", (*row, _checksum([*row, *words])))  # noqa: S608
    connection.execute("INSERT INTO words (rowid, complaint, anything) VALUES (?, ?, ?)", (number, *words))


def reviewed(
    index: IndexFile, folders: Sequence[Path], make: Callable[[Path], dict[str, Any]]
) -> dict[str, dict[str, Any]]:
    """The object that `make` derives for each session, derived again only for changed sessions."""
    connection = index.connection
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


def _checksum(row: Sequence[object]) -> str:
    return sha256(repr(list(row)).encode("utf-8", "backslashreplace"))


def _whole(text: str) -> str:
    """Text that SQLite can keep: a lone surrogate, which UTF-8 cannot hold, becomes a question mark."""
    return text.encode("utf-8", "replace").decode("utf-8")


def _key(folder: Path) -> str:
    """The name of a folder in a form that SQLite can keep, even if its bytes are not UTF-8."""
    return folder.name.encode("utf-8", "backslashreplace").decode("utf-8")


def _coded(word: str) -> str:
    """A word in small ASCII letters and digits, which every tokenizer leaves whole.

    "z" becomes "zz", and any other character "zq" with six hexadecimal digits. No code is a prefix of another, so
    a word starts with a prefix exactly if its code starts with the prefix's code.
    """
    return "".join(
        sign if "a" <= sign <= "y" or "0" <= sign <= "9" else "zz" if sign == "z" else f"zq{ord(sign):06x}"
        for sign in word
    )
