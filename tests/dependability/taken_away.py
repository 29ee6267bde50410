"""Accidents to a session from outside: its log unlinked or replaced, its folder removed or moved, the disk full,
the clock set, a second writer.

What was shown must be in a record that the program names, and that record must be whole and go on.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import time
from datetime import UTC, datetime, timedelta, timezone
from typing import TYPE_CHECKING

from driving import CLOSING, LONGEST_S, Driven, Ran, command, random_keys, session_command, spoils, start
from harness import Attack, Outcome, Plan, Try, run_tries
from judging import (
    judge_dialogue,
    judge_going_on,
    judge_record,
    judge_step,
    judge_write_up,
    library_of,
    session_folders,
)

from assistant import resources
from assistant.core.dialogue.runner import Runner
from assistant.core.values.events import Began, KeyPressed
from assistant.keys.pad import decode
from assistant.record import Facts, SessionLog, list_sessions, read_session, verify

if TYPE_CHECKING:
    from pathlib import Path

TAKEN = "log or folder taken away"
FULL_DISK = "full file system"
WRITERS = "two writers"
CLOCKS = "clock set back and forth"

# --- the log or its folder is taken away ------------------------------------------------------------


def _unlink_log(folder: Path) -> None:
    (folder / "log.jsonl").unlink()


def _replace_log(folder: Path) -> None:
    data = (folder / "log.jsonl").read_bytes()
    (folder / "log.jsonl").unlink()
    (folder / "log.jsonl").write_bytes(data)


def _remove_folder(folder: Path) -> None:
    shutil.rmtree(folder)


def _remove_sessions(folder: Path) -> None:
    shutil.rmtree(folder.parent)


def _move_folder(folder: Path) -> None:
    folder.rename(folder.parent.parent / "moved-away")


_WAYS = (_unlink_log, _replace_log, _remove_folder, _remove_sessions, _move_folder)


def _taken(tried: Try) -> None:
    rng, sessions = tried.rng, tried.folder / "sessions"
    way = _WAYS[tried.number % len(_WAYS)]
    temporary = tried.folder / "tmp"
    temporary.mkdir()
    driven = start(session_command(sessions), tried.folder, more={"TMPDIR": str(temporary)})
    first, later = random_keys(rng, rng.randrange(1, 20)), random_keys(rng, rng.randrange(1, 20))
    driven.press(first)
    driven.read(time.monotonic() + LONGEST_S, b"Keys only")
    _quiet(driven)
    way(session_folders(sessions)[0])
    before = len(driven.out)
    driven.press(b"1")
    until = time.monotonic() + LONGEST_S
    while b"  KEY " not in driven.out[before:] and time.monotonic() < until and driven.process.poll() is None:
        driven.read(time.monotonic() + 0.05)
    _quiet(driven)
    told = bytes(driven.out[before:]).lower()
    tried.check(
        b"record" in told or b"log" in told,
        f"{way.__name__}: nothing was said of it at the next line: {told[-200:]!r}",
    )
    driven.press(later + CLOSING)
    driven.no_more_keys()
    status = driven.end()
    out = bytes(driven.out)
    (tried.folder / "printed.txt").write_bytes(out + bytes(driven.errors))
    for spoilt in spoils(Ran(status, out, bytes(driven.errors))):
        tried.wrong(f"{way.__name__}: {spoilt}")
    judge_somewhere(
        tried, way.__name__, tried.folder, out + bytes(driven.errors), first + b"1" + later + CLOSING
    )


def _quiet(driven: Driven) -> None:
    """Wait until nothing more is printed for a moment."""
    before = -1
    while len(driven.out) != before:
        before = len(driven.out)
        driven.read(time.monotonic() + 0.4)


def judge_somewhere(tried: Try, what: str, home: Path, shown: bytes, keys: bytes) -> None:
    """One of the folders that the program named holds all that was shown, whole; it goes on or is closed."""
    found = [path.parent for path in sorted(home.rglob("session.json")) if str(path.parent).encode() in shown]
    found += [
        path.parent for path in sorted(home.rglob("session.json")) if path.parent.name.encode() in shown
    ]
    whole = [folder for folder in dict.fromkeys(found) if not _findings(folder)]
    if not whole:
        tried.wrong(f"{what}: no record that it named is whole: {[str(folder) for folder in found]}")
        return
    fullest = max(whole, key=lambda folder: len(read_session(folder).lines))
    session = judge_record(tried, fullest, may_be_torn=True)
    if session is None:
        return
    judge_dialogue(tried, session, shown, keys)
    judge_step(tried, session)
    judge_write_up(tried, fullest)
    tried.counts["in a second place"] += fullest.name.endswith("kept") or "kept" in str(fullest)
    if not session.sealed:
        judge_going_on(tried, fullest)


def _findings(folder: Path) -> list[str]:
    try:
        # A line that was never confirmed may be cut short; resuming sets the piece aside.
        return [text for text in map(str, verify(folder)) if "cut short" not in text]
    except Exception as error:  # noqa: BLE001  a folder that cannot be read is not whole
        return [str(error)]


# --- a full file system -----------------------------------------------------------------------------


def _full_disk(tried: Try) -> None:
    """A file system that fills up in mid-session, under the program or by another; told, and nothing lost."""
    rng = tried.rng
    disk, temporary = tried.folder / "disk", tried.folder / "tmp"
    disk.mkdir()
    temporary.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", disk], check=True, capture_output=True)
    try:
        sessions = disk / "sessions"
        driven = start(session_command(sessions), tried.folder, more={"TMPDIR": str(temporary)})
        driven.read(time.monotonic() + LONGEST_S, b"Keys only")
        _quiet(driven)
        _fill(disk, leave=rng.choice((0, 1, 4096, 5000, 20_000)))
        keys = random_keys(rng, rng.randrange(5, 60)) + CLOSING
        driven.press(keys)
        driven.no_more_keys()
        status = driven.end()
        out = bytes(driven.out) + bytes(driven.errors)
        (tried.folder / "printed.txt").write_bytes(out)
        for spoilt in spoils(Ran(status, out, b"")):
            tried.wrong(spoilt)
        tried.check(b"full" in out or b"second" in out.lower(), "nothing was said of the full disk")
        (disk / "filler").unlink(missing_ok=True)
        judge_somewhere(tried, "full disk", tried.folder, out, keys)
    finally:
        subprocess.run(["umount", "-l", disk], check=False, capture_output=True)


def _fill(disk: Path, *, leave: int) -> None:
    filler = os.open(disk / "filler", os.O_WRONLY | os.O_CREAT)
    try:
        with contextlib.suppress(OSError):
            while os.write(filler, b"\0" * 4096):
                pass
        if leave:
            os.ftruncate(filler, max(0, os.fstat(filler).st_size - leave))
    finally:
        os.close(filler)


def _full_disks(plan: Plan) -> Outcome:
    if os.geteuid() != 0:
        return Outcome(FULL_DISK, skipped="only root may mount a small file system")
    probe = plan.workdir / "probe"
    probe.mkdir(parents=True, exist_ok=True)
    mounted = subprocess.run(["mount", "-t", "tmpfs", "tmpfs", probe], check=False, capture_output=True)
    if mounted.returncode:
        return Outcome(FULL_DISK, skipped="file systems cannot be mounted here")
    subprocess.run(["umount", probe], check=True, capture_output=True)
    return run_tries(FULL_DISK, _full_disk, plan)


# --- two writers, and the clock ---------------------------------------------------------------------


def _two_writers(tried: Try) -> None:
    """While one program records a session, every other way to write it is refused, and the first is not disturbed."""
    rng, sessions = tried.rng, tried.folder / "sessions"
    driven = start(session_command(sessions), tried.folder)
    keys = random_keys(rng, 10)
    driven.press(keys)
    driven.read(time.monotonic() + LONGEST_S, b"Keys only")
    name = rng.choice(("last", session_folders(sessions)[0].name))
    other = command(session_command(sessions, "--resume", name), tried.folder, keys=b"1\r  qqq")
    tried.check(
        other.status == 2 and b"in use" in other.errors,
        f"a second writer ended with {other.status}: {other.errors!r}",
    )
    review = command(["review", name, "--sessions", str(sessions), "--done", "x", "--by", "y"], tried.folder)
    tried.check(review.status == 2, f"a review of a running session ended with {review.status}")
    beside = command(session_command(sessions), tried.folder, keys=b"1\r  qqq")
    tried.check(beside.status == 0, f"a session beside it ended with {beside.status}")
    driven.press(CLOSING)
    driven.no_more_keys()
    tried.check(driven.end() == 0, "the first writer did not end well")
    folders = session_folders(sessions)
    tried.check(len(folders) == 2, f"{len(folders)} sessions of two")
    for folder in folders:
        if (
            sum(b"KEY" in row for row in bytes(driven.out).splitlines())
            and folder.name.encode() in driven.out
        ):
            session = judge_record(tried, folder, may_be_torn=False)
            if session is not None:
                judge_dialogue(tried, session, bytes(driven.out), keys + CLOSING)


def _clocks(tried: Try) -> None:
    """The clock on the wall jumps by up to 40 years back and 10 on between any two lines; the order stays."""
    rng, sessions = tried.rng, tried.folder / "sessions"
    began = datetime(2026, 11, 28, 9, 0, tzinfo=UTC)

    def now() -> datetime:
        zone = timezone(timedelta(minutes=rng.choice((-720, -300, 0, 345, 840))))
        return (began + timedelta(days=rng.uniform(-40 * 365.25, 10 * 365.25))).astimezone(zone)

    facts = Facts(order="4711")
    with SessionLog.create(sessions, facts, resources.directory("procedures"), now=now) as log:
        folder = log.folder
        runner = Runner(*library_of(read_session(folder)), log.header.thresholds)
        pressed = decode(random_keys(rng, 15))[0]
        for event in [Began(0.0, "no-start"), *(KeyPressed(1.0 + at, key) for at, key in enumerate(pressed))]:
            log.append(event, runner.receive(event))
    session = judge_record(tried, folder, may_be_torn=False)
    if session is not None:
        tried.check(len(session.lines) == len(pressed) + 1, "lines are missing")
        judge_going_on(tried, folder)
        tried.check([one.folder for one in list_sessions(sessions)] == [folder], "it is not listed")


ATTACKS = (
    Attack(TAKEN, 100, 5, lambda plan: run_tries(TAKEN, _taken, plan)),
    Attack(FULL_DISK, 40, 1, _full_disks),
    Attack(WRITERS, 20, 1, lambda plan: run_tries(WRITERS, _two_writers, plan)),
    Attack(CLOCKS, 300, 2, lambda plan: run_tries(CLOCKS, _clocks, plan, processes=True)),
)
