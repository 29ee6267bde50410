"""Each system call with which the record is written fails in turn, in each way: full, damaged, read-only, killed."""

from __future__ import annotations

import errno
import time
from typing import TYPE_CHECKING

import shim
from driving import CLOSING, LONGEST_S, Ran, command, session_command, spoils, start
from harness import Attack, Outcome, Plan, Try, run_tries
from judging import (
    judge_dialogue,
    judge_going_on,
    judge_record,
    judge_step,
    judge_write_up,
    session_folders,
    unfinished,
)

from assistant.errors import BayAssistantError
from assistant.record import read_session

if TYPE_CHECKING:
    from pathlib import Path

NAME = "each call failing in turn"
_KEYS = b"1\r11\r2+1\r\r1w1*\r" + CLOSING

_WAYS: dict[str, tuple[str, ...]] = {
    "write": (str(errno.ENOSPC), str(errno.EIO), str(errno.EROFS), "short", "kill", "kill-after"),
    "sync": (str(errno.EIO), str(errno.ENOSPC), "kill", "kill-after"),
    "open": (str(errno.ENOSPC), str(errno.EMFILE), str(errno.EROFS), "kill-after"),
    "rename": (str(errno.EIO), str(errno.ENOSPC), "kill", "kill-after"),
    "mkdir": (str(errno.ENOSPC), str(errno.EACCES), "kill-after"),
}
_LETTERS = {"write": "w", "sync": "s", "open": "o", "rename": "r", "mkdir": "m"}


def _all(plan: Plan) -> Outcome:
    if shim.library() is None:
        return Outcome(NAME, skipped=shim.NO_COMPILER)
    calls = _count_calls(plan.workdir / "calls")
    cases = [
        (kind, number, way)
        for kind, letter in _LETTERS.items()
        for number in range(1, calls.count(letter.encode()) + 1)
        for way in _WAYS[kind]
    ]
    step = max(1, len(cases) // plan.tries)

    def one(tried: Try) -> None:
        _fail(tried, cases[tried.number])

    outcome = run_tries(NAME, one, plan, only=range(plan.first, len(cases), step))
    outcome.counts["calls"] = len([sign for sign in calls if sign in b"wsorm"])
    return outcome


def _count_calls(folder: Path) -> bytes:
    """One letter for each call that a session of the same keys makes when nothing fails."""
    sessions = folder / "sessions"
    sessions.mkdir(parents=True, exist_ok=True)
    driven = start(session_command(sessions), folder, shim=shim.variables(sessions))
    driven.press(_KEYS)
    driven.no_more_keys()
    driven.end()
    return bytes(driven.marks)


def _fail(tried: Try, case: tuple[str, int, str]) -> None:
    kind, number, way = case
    named = f"{kind} {number} {errno.errorcode.get(int(way), way) if way.isdecimal() else way}"
    sessions = tried.folder / "sessions"
    sessions.mkdir()
    (tried.folder / "tmp").mkdir()
    driven = start(
        session_command(sessions),
        tried.folder,
        shim=shim.variables(sessions, fail=case),
        more={"TMPDIR": str(tried.folder / "tmp")},
    )
    driven.press(_KEYS)
    driven.no_more_keys()
    driven.read(time.monotonic() + LONGEST_S)
    status = driven.end()
    out = bytes(driven.out)
    (tried.folder / "printed.txt").write_bytes(out + bytes(driven.errors))
    tried.counts["calls that failed"] += b"!" in driven.marks
    killed = way.startswith("kill")
    if not killed:
        for spoilt in spoils(Ran(status, out, bytes(driven.errors))):
            tried.wrong(f"{named}: {spoilt}")
    problems, tried.problems = tried.problems, []
    _judge(tried, sessions, out, killed=killed)
    tried.problems = problems + [f"{named}: {problem}" for problem in tried.problems]


def _judge(tried: Try, sessions: Path, out: bytes, *, killed: bool) -> None:
    """Everything shown is in at least one record, and that one goes on."""
    found = [
        folder for parent in (sessions, *_second_places(tried.folder)) for folder in session_folders(parent)
    ]
    if not found:
        tried.check(b"SAYS" not in out, "it spoke, and there is no session")
        tried.check(killed or not unfinished(sessions), f"it left {', '.join(unfinished(sessions))}")
        return
    fullest = max(found, key=_lines)
    if len(found) > 1:
        tried.counts["went on in a second place"] += 1
        tried.check(str(fullest.name).encode() in out, f"the second place {fullest} was not named")
    session = judge_record(tried, fullest, may_be_torn=killed)
    if session is None:
        return
    judge_dialogue(tried, session, out, _KEYS)
    if session.sealed:
        judge_step(tried, session)
        judge_write_up(tried, fullest)
    elif tried.rng.random() < 0.1:
        ran = command(session_command(fullest.parent, "--resume", str(fullest)), tried.folder, keys=CLOSING)
        tried.check(ran.status == 0, f"resuming ended with {ran.status}: {ran.errors[-200:]!r}")
        tried.counts["resumed by the program"] += 1
        judge_record(tried, fullest, may_be_torn=False)
    else:
        judge_going_on(tried, fullest)


def _second_places(home: Path) -> list[Path]:
    return [home / ".local" / "state" / "bay-assistant" / "kept", *(home / "tmp").glob("bay-assistant-*")]


def _lines(folder: Path) -> int:
    try:
        return len(read_session(folder).lines)
    except BayAssistantError:
        return -1


ATTACKS = (Attack(NAME, 900, 6, _all),)
