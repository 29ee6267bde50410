"""Writes a session: everything confirmed is on the disk before the next step is spoken."""

from __future__ import annotations

import os
import secrets
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Self

from assistant import __version__
from assistant.closing import Closes
from assistant.core.reasoning.knowledge import parse_table
from assistant.core.values.codec import to_json
from assistant.errors import DiskNearlyFull, RecordProblem
from assistant.loading.folder import FINDINGS_FILE, LIKELIHOODS_FILE
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.record import clips, second_place
from assistant.record.header import (
    CLIPS,
    HEADER_FILE,
    PROCEDURES,
    REVIEWS_HEAD_FILE,
    TORN_FILE,
    Facts,
    Header,
    HeardBy,
    Shop,
    SpokenBy,
    parse_header,
)
from assistant.record.laying import lay, sweep, take_lock, tidy
from assistant.record.logfiles import LogFiles, set_torn_aside
from assistant.record.reading import recorded_session
from assistant.record.recorded import RecordedSession, log_names
from assistant.record.review_head import write_seal
from assistant.record.scanning import check_folder, scan_session, seal_bytes
from assistant.record.storage import (
    canonical,
    make_private_folder,
    read_file,
    sha256,
    write_problem,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    import numpy as np
    import numpy.typing as npt

    from assistant.core.reasoning.odds import Findings
    from assistant.core.values.events import Action, Clip, Event
    from assistant.core.values.thresholds import Thresholds

# Without 0, 1, i, l, o, because people read a session's name from a screen and type it.
_NAME_SIGNS = "23456789abcdefghjkmnpqrstuvwxyz"
_NAME_TRIES = 50

LOW_DISK_BYTES = 100_000_000
"""Free space below which the person is warned; an hour's session with its sound takes a tenth of it."""


def local_now() -> datetime:
    """The wall clock, with its offset to UTC."""
    return datetime.now().astimezone()


def random_token() -> str:
    """Four characters that tell apart sessions of the same minute."""
    return "".join(secrets.choice(_NAME_SIGNS) for _ in range(4))


@dataclass
class Chain:
    """The lines of a log, each with the checksum of the one before it.

    Attributes:
        lines: Number of lines that are safe on the disk.
        last: SHA-256 of the last of these; of the header if there is none.
        waiting: Lines that are not on the disk yet.
    """

    lines: int
    last: str
    waiting: list[bytes] = field(default_factory=list)

    def add(self, moment: datetime, event: Event, actions: Sequence[Action]) -> None:
        """Add a line to those that wait."""
        body = {
            "number": self.lines + len(self.waiting) + 1,
            "time": moment.isoformat(timespec="milliseconds"),
            "event": to_json(event),
            "actions": [to_json(action) for action in actions],
            "previous": sha256(self.waiting[-1]) if self.waiting else self.last,
        }
        self.waiting.append(canonical(body))

    def confirm(self) -> None:
        """Note that all waiting lines, at least one, are on the disk."""
        last, lines = sha256(self.waiting[-1]), self.lines + len(self.waiting)
        self.last, self.lines, self.waiting = last, lines, []


class SessionLog(Closes):
    """A session that is being recorded, locked against a second writer until it is closed.

    Use `create` or `resume` to make one.

    Attributes:
        folder: The session folder.
        header: Its header.
        recorded: The record before it was resumed; None for a new session.
        torn: Number of bytes of an unfinished last line that `resume` set aside.
    """

    def __init__(
        self,
        folder: Path,
        header: Header,
        lock: int,
        now: Callable[[], datetime],
        laid: tuple[bytes, Mapping[str, bytes]],
    ) -> None:
        self.folder = folder
        self.header = header
        self.recorded: RecordedSession | None = None
        self.torn = 0
        self._lock = lock
        self._now = now
        self._laid = laid  # needed to lay a second place
        self._files = LogFiles(folder)
        self._chain = Chain(0, sha256(laid[0]))
        self._clips = clips.ClipCount()
        self._sealed = False
        self._low = False

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
        spoken_by: SpokenBy = SpokenBy(),  # noqa: B008  a value without parts that change
        heard_by: HeardBy = HeardBy(),  # noqa: B008  likewise
        shop: Shop = Shop(),  # noqa: B008  likewise
        now: Callable[[], datetime] = local_now,
        token: Callable[[], str] = random_token,
    ) -> Self:
        """Begin a session in a new folder of its own.

        It gets its final name only when all is in it. Load the library from `procedures`: what was recorded.

        Args:
            parent: Folder of all sessions, which is made if it does not exist.
            facts: Facts that were typed about the job.
            library_folder: Folder of the procedures in use; its YAML files and its likelihoods are copied.
            thresholds: Limits of the dialogue in force.
            findings: The shop's findings on past cars, kept beside the copied odds, so that a replay counts the same.
            spoken_by: The assistant's voice.
            heard_by: The technician's learnt voice and own words.
            shop: The shop, from its settings.
            now: The clock.
            token: Gives four characters for the folder's name.

        Raises:
            RecordProblem: The folder cannot be written.
            FileProblem: The likelihoods are damaged.
        """
        began = now()
        try:
            make_private_folder(parent)
            found = [*library_folder.glob("*.yaml"), library_folder / LIKELIHOODS_FILE]
            sources = sorted(path for path in found if path.is_file())
        except OSError as error:
            raise write_problem(error, parent) from error
        sweep(parent)
        copies = {path.name: read_file(path) for path in sources}
        if findings is not None and findings.cars:
            copies[FINDINGS_FILE] = findings.to_bytes()
        table = copies.get(LIKELIHOODS_FILE)
        likelihoods = parse_table(table, str(library_folder / LIKELIHOODS_FILE))[0] if table else ""
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
                spoken_by=spoken_by,
                heard_by=heard_by,
                shop=shop,
            ).to_bytes()
            lock = lay(parent, name, header, copies)
            if lock is not None:
                return cls(parent / name, parse_header(header, HEADER_FILE), lock, now, (header, copies))
        raise RecordProblem(f"No free name for a new session was found in {parent}. Try again in a minute.")

    @classmethod
    def resume(cls, folder: Path, *, now: Callable[[], datetime] = local_now) -> Self:
        """Continue an interrupted session; `recorded` holds its record so far.

        An unfinished last line moves to ``log.torn``; nothing is dropped.

        Raises:
            RecordProblem: It is not a session, is sealed, is in use by another program, or cannot be written.
            RecordBroken: It was altered.
        """
        check_folder(folder)
        lock = take_lock(folder)
        try:
            scan = scan_session(folder)
            recorded = recorded_session(scan)
            _refuse_sealed(folder, recorded.sealed is not None)
            tidy(folder)
            set_torn_aside(folder, scan.tails)
            laid = second_place.template(folder, recorded.header.procedures)
            session = cls(folder, recorded.header, lock, now, laid)
            session.recorded = recorded
            session.torn = recorded.torn
            session._chain = Chain(len(recorded.lines), scan.last)
            session._files.go_on()
            session._clips.last = max(clips.clip_numbers(folder), default=0)
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
        """Number of lines that are safe on the disk."""
        return self._chain.lines

    def append(self, event: Event, actions: Sequence[Action]) -> RecordProblem | None:
        """Record an event and the actions it caused; when this returns, they are on the disk.

        After a failed write the line, and any that failed before it, go to a new file. If that fails, too, or the
        file is no longer where it should be, everything goes to a second place, which `folder` names from then
        on.

        Returns:
            None if all is well; a message for the person if a new file or place was needed or, once, if the disk
            is nearly full.

        Raises:
            RecordProblem: The line is not on the disk. It stays in memory and is written with the next one.
        """
        self._check_open()
        self._chain.add(self._now(), event, actions)
        return self._write_waiting()

    def keep_clip(self, samples: npt.NDArray[np.int16]) -> Clip:
        """Store a piece of sound: one channel of int16, `CLIP_RATE` samples a second.

        Raises:
            RecordProblem: It cannot be written; the session can go on without it.
        """
        return self._keep(lambda number: clips.keep_clip(self.folder, number, samples))

    def keep_capture(self, ampere: npt.NDArray[np.float64], rate: float) -> Clip:
        """Store a current in A that a clamp captured, at this many samples a second.

        Raises:
            RecordProblem: It cannot be written; the session can go on without it.
        """
        return self._keep(lambda number: clips.keep_capture(self.folder, number, ampere, rate))

    # --- ending -------------------------------------------------------------------------------------

    def seal(self) -> RecordProblem | None:
        """Close the session for good and write down the checksums of all its files.

        Returns:
            A message for the person if this needed a second place.

        Raises:
            RecordProblem: A line that failed before, or the seal, cannot be written; the session stays open.
        """
        self._check_open()
        warning = self._write_waiting() if self._chain.waiting else None
        misplaced = self._files.misplaced()
        if misplaced:
            warning = self._move(misplaced)
        names = [HEADER_FILE, *log_names(self.folder)]
        names += [entry.name for entry in self.folder.glob(f"{TORN_FILE}*")]
        names += [f"{CLIPS}/{entry.name}" for entry in (self.folder / CLIPS).glob("*.flac")]
        files = {name: sha256(read_file(self.folder / name)) for name in names}
        seal = seal_bytes(self._now(), self._chain.lines, self._chain.last, files, REVIEWS_HEAD_FILE)
        write_seal(self.folder, seal)
        self._sealed = True
        self.close()
        return warning

    def close(self) -> None:
        """Let go of the files; an unsealed session can be resumed."""
        self._files.close()
        if self._lock >= 0:
            os.close(self._lock)
            self._lock = -1

    # --- inside -------------------------------------------------------------------------------------

    def _check_open(self) -> None:
        _refuse_sealed(self.folder, self._sealed)
        if self._lock < 0:
            raise RecordProblem(f"The session {self.folder.name} was closed. Resume it first.")

    def _keep(self, keep: Callable[[int], Clip]) -> Clip:
        self._check_open()
        return self._clips.keep(keep)

    def _write_waiting(self) -> RecordProblem | None:
        data = b"".join(self._chain.waiting)
        try:
            warning = self._files.write(data)
        except RecordProblem as problem:
            warning = self._move(str(problem))
            self._files.write(data)
        else:
            misplaced = self._files.misplaced()
            if misplaced:
                warning = self._move(misplaced)
        self._chain.confirm()
        self._files.confirm()
        return warning or self._room()

    def _move(self, why: str) -> RecordProblem:
        """Continue in a second place; returns a message for the person.

        Raises:
            RecordProblem: There is none.
        """
        try:
            folder, lock = second_place.move(self.folder, self._files, *self._laid)
        except RecordProblem as problem:
            raise RecordProblem(f"{why} {problem}") from problem
        os.close(self._lock)
        self.folder, self._lock = folder, lock
        lost = self._clips.last - len(clips.clip_numbers(folder))
        sound = (
            f" {lost} piece{'' if lost == 1 else 's'} of sound went with the old folder." if lost > 0 else ""
        )
        return RecordProblem(
            f"{why} All that was confirmed was written again, and goes on, in {folder}.{sound}"
        )

    def _room(self) -> RecordProblem | None:
        """A message, once, if the disk is nearly full."""
        free = self._files.free_bytes()
        low = free is not None and free < LOW_DISK_BYTES
        told, self._low = self._low, low
        if free is None or not low or told:
            return None
        return DiskNearlyFull(
            f"The disk is nearly full: {free // 1_000_000} MB are left for {self.folder}. Free some space on that disk."
        )


def _refuse_sealed(folder: Path, sealed: bool) -> None:
    if sealed:
        raise RecordProblem(f"The session {folder.name} was closed and sealed. Start a new one.")
