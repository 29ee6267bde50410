"""The files of a log, from which confirmed lines can be read back even if they are taken away.

Every file stays open for reading. So if its name is removed, another file takes its place, or the whole folder
disappears, everything can still be copied to a second place.
"""

from __future__ import annotations

import contextlib
import os
from typing import TYPE_CHECKING

from assistant.errors import RecordProblem
from assistant.record.header import TORN_FILE
from assistant.record.recorded import log_name, log_names
from assistant.record.storage import open_private, sync_folder, write_all, write_file, write_problem
from assistant.record.syncing import sync, sync_data

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

_PIECE = 1 << 20


class LogFiles:
    """``log.jsonl``, ``log-2.jsonl`` … in a session folder; whole lines go in, in order.

    Args:
        folder: The session folder.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._names: list[str] = []
        self._open: list[int] = []
        self._trusted = False  # the last file holds only confirmed lines
        self._next = 1

    def go_on(self) -> None:
        """Open the existing files, to write after the last one.

        Raises:
            RecordProblem: They may not be read or written.
        """
        for name in log_names(self.folder):
            path = self.folder / name
            try:
                self._open.append(
                    os.open(path, os.O_RDWR | os.O_APPEND | os.O_CLOEXEC | os.O_NONBLOCK | os.O_NOFOLLOW)
                )
            except OSError as error:
                raise write_problem(error, path) from error
            self._names.append(name)
        self._next = len(self._names) + 1
        self._trusted = bool(self._names)

    def write(self, data: bytes) -> RecordProblem | None:
        """Put whole lines on the disk before returning; the caller then notes this and calls `confirm`.

        If an error or interrupt strikes in between, the next call begins a new file, in which a line may stand
        again; in the same file it may not.
        After a failed write the same file is never written again, because the system may have forgotten the
        failure. The data then go to a new file.

        Returns:
            None if all is well; a message for the person if a new file was needed.

        Raises:
            RecordProblem: The data are not on the disk.
        """
        failure = None
        again = bool(self._names)
        if self._trusted:
            self._trusted = False
            failure = self._appended(self._open[-1], data)
            if failure is None:
                return None
        self._begin(data)
        if not again:
            return None
        why = f" {write_problem(failure, self.folder)}" if failure else ""
        return RecordProblem(
            f"The record could not be written and goes on in {self._names[-1]}. "
            f"Nothing that was confirmed is lost.{why}"
        )

    def confirm(self) -> None:
        """The last write counts: the next line goes after it."""
        self._trusted = True

    def misplaced(self) -> str:
        """A sentence about a misplaced file; "" if it is where it should be."""
        if not self._names:
            return ""
        path = self.folder / self._names[-1]
        try:
            there = path.lstat()
        except OSError:
            what = "was removed" if self.folder.is_dir() else f"has gone with its folder {self.folder.name}"
            return f"The record's file {path.name} {what}."
        if os.path.samestat(there, os.fstat(self._open[-1])):
            return ""
        return f"Another file stands in place of the record's file {path.name}."

    def free_bytes(self) -> int | None:
        """Free space on the disk of the log; None if the system does not say."""
        if not self._open:
            return None
        try:
            system = os.fstatvfs(self._open[-1])
        except OSError:
            return None
        return system.f_bavail * system.f_frsize

    def copy_to(self, folder: Path) -> None:
        """Copy everything into another folder, and continue there.

        Raises:
            OSError: It cannot be read or written there; this log stays unchanged.
        """
        copies: list[int] = []
        names = [log_name(position) for position in range(1, len(self._open) + 1)]
        try:
            for name, reading in zip(names, self._open, strict=True):
                writing = open_private(folder / name, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_APPEND)
                copies.append(writing)
                _copy(reading, writing)
                sync(writing)
            sync_folder(folder)
        except BaseException:
            for writing in copies:
                os.close(writing)
            raise
        self.close()
        self.folder, self._open, self._names, self._next = folder, copies, names, len(names) + 1

    def close(self) -> None:
        """Let go of the files."""
        for descriptor in self._open:
            with contextlib.suppress(OSError):
                os.close(descriptor)
        self._open = []

    def _appended(self, descriptor: int, data: bytes) -> OSError | None:
        try:
            write_all(descriptor, data)
            sync_data(descriptor)
        except OSError as error:
            return error
        return None

    def _begin(self, data: bytes) -> None:
        """Write into a new file of the log.

        Raises:
            RecordProblem: That failed, too; no part of the new file remains.
        """
        while (self.folder / log_name(self._next)).exists():  # a file that failed and could not be removed
            self._next += 1
        path = self.folder / log_name(self._next)
        try:
            descriptor = open_private(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_APPEND)
        except OSError as error:
            raise write_problem(error, path) from error
        try:
            write_all(descriptor, data)
            sync(descriptor)
            sync_folder(self.folder)
        except BaseException as error:
            os.close(descriptor)
            with contextlib.suppress(OSError):
                path.unlink()
            if isinstance(error, OSError):
                raise write_problem(error, path) from error
            raise
        self._names.append(path.name)
        self._open.append(descriptor)
        self._next += 1


def _copy(reading: int, writing: int) -> None:
    at = 0
    while piece := os.pread(reading, _PIECE, at):
        write_all(writing, piece)
        at += len(piece)


def set_torn_aside(folder: Path, tails: Mapping[str, bytes]) -> None:
    """Move unfinished last pieces of the log to ``log.torn`` (``log.torn-2`` …).

    The piece is safe in its new place before it leaves the old one.

    Raises:
        RecordProblem: It cannot be written.
    """
    for name, tail in tails.items():
        taken = len(list(folder.glob(f"{TORN_FILE}*")))
        write_file(folder / (TORN_FILE if not taken else f"{TORN_FILE}-{taken + 1}"), tail)
        path = folder / name
        try:
            descriptor = os.open(path, os.O_WRONLY | os.O_CLOEXEC)
            try:
                os.ftruncate(descriptor, path.stat().st_size - len(tail))
                sync(descriptor)
            finally:
                os.close(descriptor)
        except OSError as error:
            raise write_problem(error, path) from error
