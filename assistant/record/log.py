"""Writing a session: what was confirmed is on the disk before the next step is spoken."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import secrets
import shutil
from datetime import datetime
from typing import TYPE_CHECKING, Self

from assistant import __version__
from assistant.core.events import Action, Clip, Event, to_json
from assistant.core.evidence import parse_table
from assistant.core.loading import FINDINGS_FILE, LIKELIHOODS_FILE
from assistant.core.policy import DEFAULT_THRESHOLDS, Thresholds
from assistant.errors import RecordProblem
from assistant.record import clips
from assistant.record.header import (
    CLIPS,
    HEADER_FILE,
    PROCEDURES,
    REVIEWS_HEAD_FILE,
    TORN_FILE,
    Facts,
    Header,
    parse_header,
)
from assistant.record.reading import (
    RecordedSession,
    check_folder,
    log_name,
    log_names,
    recorded_session,
    scan_session,
    seal_bytes,
)
from assistant.record.review_head import write_seal
from assistant.record.storage import (
    canonical,
    read_file,
    sha256,
    sync_folder,
    write_all,
    write_file,
    write_problem,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path
    from types import TracebackType

    import numpy as np
    import numpy.typing as npt

    from assistant.core.odds import Findings

# Without 0, 1, i, l, o: a name of a session is read from a screen and typed.
_NAME_SIGNS = "23456789abcdefghjkmnpqrstuvwxyz"
_NAME_TRIES = 50


def local_now() -> datetime:
    """The clock on the wall, with its offset to UTC."""
    return datetime.now().astimezone()


def random_token() -> str:
    """Four signs that tell apart sessions of the same minute."""
    return "".join(secrets.choice(_NAME_SIGNS) for _ in range(4))


class SessionLog:
    """A session that is being recorded, locked against a second writer until it is closed.

    Made by `create` or `resume`, not directly.

    Attributes:
        folder: The session folder.
        header: Its header.
        recorded: What was recorded before it was resumed; None for a new session.
        torn: How many bytes of an unfinished last line were set aside by `resume`.
    """

    def __init__(self, folder: Path, header: Header, lock: int, now: Callable[[], datetime]) -> None:
        self.folder = folder
        self.header = header
        self.recorded: RecordedSession | None = None
        self.torn = 0
        self._lock = lock
        self._now = now
        self._descriptor: int | None = None
        self._files = 0
        self._lines = 0
        self._last = ""
        self._waiting: list[bytes] = []
        self._clips = 0
        self._sealed = False
        self._failure: OSError | None = None

    # --- beginning ----------------------------------------------------------------------------------

    @classmethod
    def create(
        cls,
        parent: Path,
        facts: Facts,
        library_folder: Path,
        *,
        thresholds: Thresholds = DEFAULT_THRESHOLDS,
        findings: Findings | None = None,
        now: Callable[[], datetime] = local_now,
        token: Callable[[], str] = random_token,
    ) -> Self:
        """Begin a session in a new folder of its own.

        The folder appears under its final name only when header and procedures are in it.
        Load the library from `procedures`, so that what is used is what was recorded.

        Args:
            parent: Folder of all sessions; made if it is not there.
            facts: What was typed about the job.
            library_folder: Folder of the procedures in use; its YAML files and its likelihoods are copied.
            thresholds: Limits of the dialogue in force.
            findings: What the shop found on past cars, to be counted in the odds; kept beside the copied odds,
                so that a replay counts the same.
            now: The clock.
            token: Gives four signs for the folder's name.

        Raises:
            RecordProblem: The folder cannot be written.
            FileProblem: The likelihoods are damaged.
        """
        began = now()
        try:
            parent.mkdir(parents=True, exist_ok=True)
            found = [*library_folder.glob("*.yaml"), library_folder / LIKELIHOODS_FILE]
            sources = sorted(path for path in found if path.is_file())
        except OSError as error:
            raise write_problem(error, parent) from error
        copies = {path.name: read_file(path) for path in sources}
        if findings is not None and findings.cars:
            copies[FINDINGS_FILE] = findings.to_bytes()
        table = copies.get(LIKELIHOODS_FILE)
        likelihoods = parse_table(table, library_folder / LIKELIHOODS_FILE)[0] if table else ""
        for _ in range(_NAME_TRIES):
            name = f"{began:%Y-%m-%d-%H%M}-{token()}"
            header = Header(
                id=name,
                started=began,
                program=__version__,
                facts=facts,
                thresholds=thresholds,
                procedures={file: sha256(data) for file, data in copies.items()},
                likelihoods=likelihoods,
            ).to_bytes()
            lock = _lay(parent, name, header, copies)
            if lock is not None:
                session = cls(parent / name, parse_header(header, HEADER_FILE), lock, now)
                session._last = sha256(header)
                return session
        raise RecordProblem(f"No free name for a new session was found in {parent}. Try again in a minute.")

    @classmethod
    def resume(cls, folder: Path, *, now: Callable[[], datetime] = local_now) -> Self:
        """Go on with an interrupted session; `recorded` holds what was there.

        An unfinished last line is moved to ``log.torn``: nothing is dropped.

        Raises:
            RecordProblem: Not a session, sealed, in use by another program, or not to be written.
            RecordBroken: It was altered.
        """
        check_folder(folder)
        lock = take_lock(folder)
        try:
            scan = scan_session(folder)
            recorded = recorded_session(scan)
            _refuse_sealed(folder, recorded.sealed is not None)
            _set_torn_aside(folder, scan.tails)
            session = cls(folder, recorded.header, lock, now)
            session.recorded = recorded
            session.torn = recorded.torn
            session._lines = len(recorded.lines)
            session._last = scan.last
            session._open_last_file()
            session._clips = _last_clip(folder)
        except BaseException:
            os.close(lock)
            raise
        return session

    # --- while it lasts -----------------------------------------------------------------------------

    @property
    def procedures(self) -> Path:
        """Folder of the copied procedures: load the library from here."""
        return self.folder / PROCEDURES

    @property
    def lines(self) -> int:
        """How many lines are safe on the disk."""
        return self._lines

    def append(self, event: Event, actions: Sequence[Action]) -> RecordProblem | None:
        """Record an event and the actions it caused; when this returns, they are on the disk.

        After a failed write the same descriptor is never used again: the system may have forgotten that it
        failed. The line, and any that failed before it, go to a new file.

        Returns:
            None when all is well; what to tell the person when a new file had to be begun.

        Raises:
            RecordProblem: The line is not on the disk. It is kept in memory and written with the next one.
        """
        self._check_open()
        body = {
            "number": self._lines + len(self._waiting) + 1,
            "time": self._now().isoformat(timespec="milliseconds"),
            "event": to_json(event),
            "actions": [to_json(action) for action in actions],
            "previous": sha256(self._waiting[-1]) if self._waiting else self._last,
        }
        self._waiting.append(canonical(body))
        return self._write_waiting()

    def keep_clip(self, samples: npt.NDArray[np.int16]) -> Clip:
        """Store a piece of sound: one channel of int16, `CLIP_RATE` samples a second.

        Raises:
            RecordProblem: It cannot be written; the session can go on without it.
        """
        self._check_open()
        clip = clips.keep_clip(self.folder, self._clips + 1, samples)
        self._clips += 1
        return clip

    # --- ending -------------------------------------------------------------------------------------

    def seal(self) -> None:
        """Close the session for good: the checksums of all that it holds are written down.

        Raises:
            RecordProblem: A line that failed before, or the seal, cannot be written; the session stays open.
        """
        self._check_open()
        if self._waiting:
            self._write_waiting()
        names = [HEADER_FILE, *log_names(self.folder)]
        names += [entry.name for entry in self.folder.glob(f"{TORN_FILE}*")]
        names += [f"{CLIPS}/{entry.name}" for entry in (self.folder / CLIPS).glob("*.flac")]
        files = {name: sha256(read_file(self.folder / name)) for name in names}
        write_seal(self.folder, seal_bytes(self._now(), self._lines, self._last, files, REVIEWS_HEAD_FILE))
        self._sealed = True
        self.close()

    def close(self) -> None:
        """Let go of the files; an unsealed session can be resumed."""
        self._let_go()
        if self._lock >= 0:
            os.close(self._lock)
            self._lock = -1

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # --- inside -------------------------------------------------------------------------------------

    def _check_open(self) -> None:
        _refuse_sealed(self.folder, self._sealed)
        if self._lock < 0:
            raise RecordProblem(f"The session {self.folder.name} was closed. Resume it first.")

    def _write_waiting(self) -> RecordProblem | None:
        data = b"".join(self._waiting)
        warning = None
        if self._descriptor is None or not self._written(self._descriptor, data):
            again = self._files > 0
            failure, self._failure = self._failure, None
            self._let_go()
            self._begin_file(data)
            if again:
                why = f" {write_problem(failure, self.folder)}" if failure else ""
                warning = RecordProblem(
                    f"The record could not be written and goes on in {log_name(self._files)}. "
                    f"Nothing that was confirmed is lost.{why}"
                )
        self._last = sha256(self._waiting[-1])
        self._lines += len(self._waiting)
        self._waiting.clear()
        return warning

    def _written(self, descriptor: int, data: bytes) -> bool:
        try:
            write_all(descriptor, data)
            os.fdatasync(descriptor)
        except OSError as error:
            self._failure = error
            return False
        return True

    def _begin_file(self, data: bytes) -> None:
        """Write what is waiting into a new file of the log.

        Raises:
            RecordProblem: That failed too; nothing of the new file is left.
        """
        path = self.folder / log_name(self._files + 1)
        while path.exists():  # a file that failed and could not be removed
            self._files += 1
            path = self.folder / log_name(self._files + 1)
        try:
            descriptor = os.open(
                path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | os.O_CLOEXEC, 0o644
            )
        except OSError as error:
            raise write_problem(error, path) from error
        try:
            write_all(descriptor, data)
            os.fsync(descriptor)
            sync_folder(self.folder)
        except OSError as error:
            os.close(descriptor)
            with contextlib.suppress(OSError):
                path.unlink()
            raise write_problem(error, path) from error
        self._descriptor = descriptor
        self._files += 1

    def _open_last_file(self) -> None:
        """Go on in the last file of the log.

        Raises:
            RecordProblem: It may not be written.
        """
        self._files = len(log_names(self.folder))
        if self._files:
            path = self.folder / log_name(self._files)
            try:
                self._descriptor = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CLOEXEC)
            except OSError as error:
                raise write_problem(error, path) from error

    def _let_go(self) -> None:
        if self._descriptor is not None:
            with contextlib.suppress(OSError):
                os.close(self._descriptor)
            self._descriptor = None


def _refuse_sealed(folder: Path, sealed: bool) -> None:
    if sealed:
        raise RecordProblem(f"The session {folder.name} was closed and sealed. Start a new one.")


def _lay(parent: Path, name: str, header: bytes, copies: dict[str, bytes]) -> int | None:
    """Build a session folder aside and give it its name in one move.

    Returns:
        The descriptor that holds the lock; None when the name is taken.

    Raises:
        RecordProblem: It cannot be written; nothing of it is left.
    """
    aside = parent / f".{name}.new"
    lock = None
    try:
        aside.mkdir()
        (aside / CLIPS).mkdir()
        (aside / PROCEDURES).mkdir()
        for file, data in copies.items():
            write_file(aside / PROCEDURES / file, data)
        write_file(aside / HEADER_FILE, header)
        lock = take_lock(aside)
        # A move onto a folder that is not empty is refused, and a session is never empty.
        aside.rename(parent / name)
        sync_folder(parent)
    except OSError as error:
        taken = error.errno in (errno.EEXIST, errno.ENOTEMPTY)
        if lock is not None or not taken:  # a folder aside that was there before is somebody else's
            _forget(aside, lock)
        if taken:
            return None
        raise write_problem(error, parent / name) from error
    except RecordProblem:
        _forget(aside, lock)
        raise
    return lock


def _forget(aside: Path, lock: int | None) -> None:
    if lock is not None:
        os.close(lock)
    shutil.rmtree(aside, ignore_errors=True)


def take_lock(folder: Path) -> int:
    """Lock a session for one writer; held until the descriptor is closed, also by a crash.

    Raises:
        RecordProblem: Another program writes it, or it may not be written.
    """
    path = folder / HEADER_FILE
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CLOEXEC)
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


def _set_torn_aside(folder: Path, tails: Mapping[str, bytes]) -> None:
    """Move unfinished last pieces of the log to ``log.torn`` (``log.torn-2`` …).

    The piece is durable in its new place before it leaves the old one.

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
                os.fsync(descriptor)
            finally:
                os.close(descriptor)
        except OSError as error:
            raise write_problem(error, path) from error


def _last_clip(folder: Path) -> int:
    numbers = [int(path.stem) for path in (folder / CLIPS).glob("*.flac") if path.stem.isdecimal()]
    return max(numbers, default=0)
