"""Reads files that may be anything: only regular files, and only up to a stated size.

A person names the files that the program reads, or they come in a folder from elsewhere.
A named pipe in place of a file would block the program for ever, and a device such as ``/dev/zero`` would fill
its memory, so neither is opened.
Every problem is an `OSError` whose ``strerror`` fits after "cannot be read", like the system's own; each reader
turns it into a sentence.
"""

from __future__ import annotations

import errno
import os
import stat
from typing import TYPE_CHECKING, BinaryIO

if TYPE_CHECKING:
    from pathlib import Path

SETTINGS = 1 << 20
"""Largest size of a file written by hand: procedures, terms, odds, grammars, manifests (1 MiB)."""

TABLE = 64 << 20
"""Largest size of a generated table: likelihoods, a lexicon, a symbol table (64 MiB)."""

RECORD = 512 << 20
"""Largest size of a file of a session; a log of 30,000 lines has some 60 MiB (512 MiB)."""

_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a named pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


def kind_of(mode: int) -> str:
    """The kind of something other than a regular file, such as ``a named pipe``; "" for a regular file."""
    if stat.S_ISREG(mode):
        return ""
    return next((name for test, name in _KINDS if test(mode)), "something else")


def open_regular(path: Path) -> BinaryIO:
    """Open a regular file for reading; links are followed.

    Raises:
        OSError: It is not a regular file, is missing, or may not be read.
    """
    try:
        _refuse(path.stat().st_mode, path)  # before opening it: opening a device can have effects
        flags = os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK | os.O_NOCTTY
        descriptor = os.open(path, flags)
    except ValueError:
        raise OSError(errno.EINVAL, "its name holds a null character", str(path)) from None
    try:
        _refuse(os.fstat(descriptor).st_mode, path)
        return os.fdopen(descriptor, "rb")
    except BaseException:
        os.close(descriptor)
        raise


def _refuse(mode: int, path: Path) -> None:
    kind = kind_of(mode)
    if kind:
        number = errno.EISDIR if stat.S_ISDIR(mode) else errno.EINVAL
        raise OSError(number, f"it is {kind}, not a file", str(path))


def read_bytes(path: Path, most: int) -> bytes:
    """All bytes of a regular file.

    Args:
        path: The file.
        most: Size of the largest one that is read, in bytes.

    Raises:
        OSError: It is not a regular file, is larger, is missing, or may not be read.
    """
    with open_regular(path) as file:
        size = os.fstat(file.fileno()).st_size
        # A file of the system's own may state no size, so the bytes are counted as well.
        data = b"" if size > most else file.read(most + 1)
    if size > most or len(data) > most:
        found = max(size, len(data))
        raise OSError(errno.EFBIG, f"it has {found} bytes, and at most {most} are read", str(path))
    return data


def read_text(path: Path, most: int, errors: str = "strict") -> str:
    """The text of a regular file in UTF-8, with plain line ends.

    Args:
        path: The file.
        most: Size of the largest one that is read, in bytes.
        errors: Treatment of bytes that are not UTF-8, as for `bytes.decode`.

    Raises:
        OSError: As for `read_bytes`.
        UnicodeDecodeError: It is not UTF-8.
    """
    return read_bytes(path, most).decode("utf-8", errors).replace("\r\n", "\n").replace("\r", "\n")
