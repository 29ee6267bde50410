"""Writing so that what was confirmed survives a power cut, and saying in plain words when it cannot."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import re
from typing import TYPE_CHECKING, Any

from assistant import files
from assistant.errors import RecordProblem
from assistant.record.syncing import sync
from assistant.resources import refuse_installed

if TYPE_CHECKING:
    from pathlib import Path

PRIVATE_FILE = 0o600
PRIVATE_FOLDER = 0o700
"""A record holds voices of people and data of customers: only its owner reads it, whatever the umask."""

_CHECKSUM = re.compile(r"[0-9a-f]{64}")

_FULL = {errno.ENOSPC, errno.EDQUOT}
_FORBIDDEN = {errno.EACCES, errno.EPERM, errno.EROFS}
_ABSENT = {errno.ENOENT, errno.ENOTDIR}


def canonical(data: Any) -> bytes:
    """One line of compact JSON in UTF-8 with its newline: the same data always give the same bytes.

    A lone surrogate (an undecodable byte that was typed on a command line) stays a JSON escape.
    """
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.encode("utf-8", "backslashreplace") + b"\n"


def sha256(data: bytes) -> str:
    """SHA-256 in hexadecimal, as ``sha256sum`` prints it."""
    return hashlib.sha256(data).hexdigest()


def parse_checksum(value: Any) -> str:
    """A SHA-256 in hexadecimal, as `sha256` gives it.

    Raises:
        TypeError, ValueError: It is something else.
    """
    if not isinstance(value, str):
        raise TypeError(f"expected text, found {value!r}")
    if not _CHECKSUM.fullmatch(value):
        raise ValueError(f"{value!r} is not a checksum")
    return value


def write_problem(error: OSError, path: Path) -> RecordProblem:
    """The sentence for a failed write: what happened and what the person can do."""
    if error.errno in _FULL:
        return RecordProblem(f"The disk is full: {path} cannot be written. Free some space on that disk.")
    if error.errno in _FORBIDDEN:
        return RecordProblem(
            f"There is no permission to write {path}. Choose another folder for sessions, "
            "or change its permissions."
        )
    if error.errno == errno.EFBIG:
        return RecordProblem(f"{path} has reached the largest file size allowed here. Raise that limit.")
    if error.errno in _ABSENT:
        return RecordProblem(f"{path} cannot be written: its folder does not exist. Was a disk removed?")
    if error.errno == errno.EIO:
        return RecordProblem(f"The disk failed while {path} was written. Use another disk.")
    return RecordProblem(f"{path} cannot be written: {error.strerror or error}.")


def read_problem(error: OSError, path: Path) -> RecordProblem:
    """The sentence for a failed read."""
    if error.errno in _FORBIDDEN:
        return RecordProblem(f"There is no permission to read {path}. Change its permissions.")
    if error.errno in _ABSENT:
        return RecordProblem(f"{path} does not exist.")
    return RecordProblem(f"{path} cannot be read: {error.strerror or error}.")


def write_all(descriptor: int, data: bytes) -> None:
    """Write every byte; `os.write` may stop short when a disk fills up.

    Raises:
        OSError: The system refused.
    """
    rest = memoryview(data)
    while rest:
        rest = rest[os.write(descriptor, rest) :]


def sync_folder(folder: Path) -> None:
    """Make the names inside a folder durable.

    Raises:
        OSError: The system refused.
    """
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        sync(descriptor)
    finally:
        os.close(descriptor)


def make_private_folder(folder: Path) -> None:
    """Make a folder that only its owner can read, and those above it that are missing; their names are durable.

    A folder that is there already stays as it is.

    Raises:
        OSError: The system refused.
        UsageProblem: It would lie in the installed program.
    """
    refuse_installed(folder)
    missing = []
    above = folder
    while not above.is_dir():
        missing.append(above)
        if above.parent == above:
            break
        above = above.parent
    for each in reversed(missing):
        try:
            each.mkdir(PRIVATE_FOLDER)
        except FileExistsError:
            if each.is_dir():  # another program made it meanwhile
                continue
            raise
        each.chmod(PRIVATE_FOLDER)
        sync_folder(each.parent)


def open_private(path: Path, flags: int) -> int:
    """Open a file that only its owner can read, whatever the umask; the descriptor does not pass to children.

    Raises:
        OSError: The system refused.
    """
    descriptor = os.open(path, flags | os.O_CLOEXEC, PRIVATE_FILE)
    if flags & os.O_CREAT:
        try:
            os.fchmod(descriptor, PRIVATE_FILE)
        except BaseException:
            os.close(descriptor)
            raise
    return descriptor


def write_file(path: Path, data: bytes) -> None:
    """Write a whole private file: after this returns it is on the disk, and nobody ever sees half of it.

    Raises:
        RecordProblem: The disk is full, failed, or may not be written; no part of the file is left.
    """
    part = path.with_name(f".{path.name}.part")
    try:
        descriptor = open_private(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        try:
            write_all(descriptor, data)
            sync(descriptor)
        finally:
            os.close(descriptor)
        part.rename(path)
        sync_folder(path.parent)
    except BaseException as error:
        with contextlib.suppress(OSError):
            part.unlink()
        if isinstance(error, OSError):
            raise write_problem(error, path) from error
        raise


def read_file(path: Path, most: int = files.RECORD) -> bytes:
    """All bytes of a file.

    Args:
        path: The file; a pipe, a device or a folder in its place is refused at once.
        most: Size of the largest one that is read, in bytes.

    Raises:
        RecordProblem: It is missing, is not a file, is larger, or may not be read.
    """
    try:
        return files.read_bytes(path, most)
    except OSError as error:
        raise read_problem(error, path) from error
