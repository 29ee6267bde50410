"""The permitted contents of a session's folder, and reading them without being led out of it.

The program itself writes only these files there:

* ``session.json``, ``log.jsonl``, ``log-2.jsonl`` …, ``log.torn``, ``log.torn-2`` …, ``seal.json``
* ``clips/0001.flac`` …, sound and captured currents, and the procedures that the header names, in ``procedures/``
* ``reviews.jsonl``, ``reviews-head.json``, a ``writeup-N.txt`` for each review that was signed, and its photos,
  ``photo-N.jpg`` or ``photo-N.png``
* ``notes.jsonl``, what a machine wrote down of the voice notes
* ``write-up.txt`` and ``write-up.html``, which can be made anew from the record at any time and have no checksum

Anything else is a finding, and so is a link, a pipe, a socket or a device in place of a file or folder. A link is
never followed, even if it appears while the session is being read.
Files that a killed program left half written (``.seal.json.part``) are neither part of the record nor a finding:
they are mentioned and not handed over.
A hard link cannot be told from any other file. Its target does not matter, because every file is checked against
its checksum, and none without one is handed over.
"""

from __future__ import annotations

import errno
import os
import re
import stat
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant import files
from assistant.core.values.finding import Finding
from assistant.errors import RecordBroken, RecordProblem
from assistant.record.header import (
    CLIPS,
    HEADER_FILE,
    PROCEDURES,
    REVIEWS_FILE,
    REVIEWS_HEAD_FILE,
    SEAL_FILE,
    TRANSCRIPTS_FILE,
)
from assistant.record.storage import read_problem

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

LOG = re.compile(r"log(-([2-9]|[1-9][0-9]+))?\.jsonl")
TORN = re.compile(r"log\.torn(-([2-9]|[1-9][0-9]+))?")
SIGNED_WRITE_UP = re.compile(r"writeup-([1-9][0-9]*)\.txt")
PHOTO = re.compile(r"photo-([1-9][0-9]*)\.(jpg|png)")
_CLIP = re.compile(r"[0-9]{4,}\.flac")
_PROCEDURE = re.compile(r"[^.].*")
_SINGLE = {
    HEADER_FILE,
    SEAL_FILE,
    REVIEWS_FILE,
    REVIEWS_HEAD_FILE,
    TRANSCRIPTS_FILE,
    "write-up.txt",
    "write-up.html",
}
_LEFT = re.compile(r"\.(.+)\.part")

_FOLDER_FLAGS = os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC
_FILE_FLAGS = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_NOCTTY | os.O_CLOEXEC


@dataclass
class Contents:
    """The contents of a session's folder.

    Attributes:
        files: Names of regular files that a session may have, such as ``clips/0001.flac``.
        left: Files that a killed program left half written.
        findings: Findings about everything else.
    """

    files: set[str] = field(default_factory=set)
    left: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    def odd(self, name: str) -> bool:
        """Whether a finding is about this file, or about its folder."""
        return any(name == one.path or name.startswith(f"{one.path}/") for one in self.findings)

    def unreadable(self) -> bool:
        """Whether a file on which everything rests is not there as a file, so that nothing more can be said."""
        names = {one.path for one in self.findings}
        return any(name in _SINGLE or LOG.fullmatch(name) for name in names)


def look(folder: Path) -> Contents:
    """The contents of a session's folder, by names and kinds; nothing is read or followed.

    Raises:
        RecordProblem: The folder, or one in it, may not be read.
    """
    found = Contents()
    for name, mode in sorted(_entries(folder)):
        if name in (CLIPS, PROCEDURES) and stat.S_ISDIR(mode):
            allowed = _CLIP if name == CLIPS else _PROCEDURE
            for inner, kind in sorted(_entries(folder / name)):
                _sort(found, f"{name}/{inner}", kind, known=_known(inner, allowed))
        elif name in (CLIPS, PROCEDURES) and stat.S_ISREG(mode):
            found.findings.append(Finding(name, 0, "this is a file, and should be a folder", "Take it out"))
        else:
            _sort(found, name, mode, known=_known(name))
    return found


def _known(name: str, allowed: re.Pattern[str] | None = None) -> str:
    """``file`` for a name that a session may have, ``left`` for that of a half-written file, else ""."""

    def fits(one: str) -> bool:
        if allowed is not None:
            return allowed.fullmatch(one) is not None
        return one in _SINGLE or any(sort.fullmatch(one) for sort in (LOG, TORN, SIGNED_WRITE_UP, PHOTO))

    if fits(name):
        return "file"
    left = _LEFT.fullmatch(name)
    return "left" if left is not None and fits(left[1]) else ""


def _sort(found: Contents, name: str, mode: int, *, known: str) -> None:
    if stat.S_ISLNK(mode):
        remedy = "Put the file itself in its place" if known == "file" else "Take it out"
        found.findings.append(
            Finding(name, 0, "this is a link, and a session has none: what it leads to was not read", remedy)
        )
    elif stat.S_ISDIR(mode):
        found.findings.append(Finding(name, 0, "this folder is no part of a session", "Take it out"))
    elif kind := files.kind_of(mode):
        found.findings.append(
            Finding(name, 0, f"this is {kind}, and a session has only files", "Take it out")
        )
    elif not known:
        found.findings.append(Finding(name, 0, "this file is no part of a session", "Take it out"))
    elif known == "left":
        found.left.append(name)
    else:
        found.files.add(name)


def _entries(folder: Path) -> Iterator[tuple[str, int]]:
    """Name and mode of each entry of a folder, without following links.

    Raises:
        RecordProblem: It may not be read.
    """
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                yield entry.name, entry.stat(follow_symlinks=False).st_mode
    except OSError as error:
        raise read_problem(error, folder) from error


def read_inside(folder: Path, name: str, most: int = files.RECORD) -> bytes:
    """All bytes of a file of a session or bag, without following any link below the folder.

    Args:
        folder: The session's folder; its own path may contain a link, because a person named it.
        name: The file's name inside it, with ``/`` between folders.
        most: Size of the largest one that is read, in bytes.

    Raises:
        RecordProblem: It is missing, is larger, or may not be read.
        RecordBroken: It, or a folder on the way, is a link, or it is not a file.
    """
    path = folder / name
    *above, last = name.split("/")
    opened: list[int] = []
    if any(part in ("", ".", "..") for part in name.split("/")):
        raise RecordBroken(f"{name!r} is not the name of a file in {folder}.")
    try:
        opened.append(os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC))
        for part in above:
            _refuse_link(opened[-1], part, path)
            opened.append(os.open(part, _FOLDER_FLAGS, dir_fd=opened[-1]))
        _refuse_other(
            _refuse_link(opened[-1], last, path), path
        )  # before opening, because opening a device can have effects
        opened.append(os.open(last, _FILE_FLAGS, dir_fd=opened[-1]))
        _refuse_other(os.fstat(opened[-1]).st_mode, path)
        return _all_of(opened[-1], path, most)
    except ValueError as error:  # a null character
        raise RecordBroken(f"{name!r} is not the name of a file.") from error
    except OSError as error:
        if error.errno == errno.ELOOP:  # it became a link after the check
            raise _link(path) from error
        raise read_problem(error, path) from error
    finally:
        for descriptor in opened:
            os.close(descriptor)


def _refuse_link(at: int, name: str, path: Path) -> int:
    mode = os.stat(name, dir_fd=at, follow_symlinks=False).st_mode
    if stat.S_ISLNK(mode):
        raise _link(path)
    return mode


def _refuse_other(mode: int, path: Path) -> None:
    if kind := files.kind_of(mode):
        raise RecordBroken(f"{path} is {kind}, not a file. Take it out.")


def _link(path: Path) -> RecordBroken:
    return RecordBroken(f"{path} is a link, or reached by one, and links in a session are not followed.")


def _all_of(descriptor: int, path: Path, most: int) -> bytes:
    pieces, size = [], os.fstat(descriptor).st_size
    if size <= most:
        size = 0
        while size <= most and (piece := os.read(descriptor, 1 << 20)):
            pieces.append(piece)
            size += len(piece)
    if size > most:
        raise RecordProblem(f"{path} cannot be read: it has {size} bytes, and at most {most} are read.")
    return b"".join(pieces)
