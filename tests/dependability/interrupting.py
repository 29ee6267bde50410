"""SIGINT, SIGTERM and SIGHUP at random instants, also while a line is being written; terminals that are closed."""

from __future__ import annotations

import os
import signal
import time
from typing import TYPE_CHECKING

import shim
from driving import CLOSING, LONGEST_S, Driven, Ran, command, random_keys, session_command, spoils, start
from harness import Attack, Outcome, Plan, Try, run_tries
from judging import judge_dialogue, judge_going_on, judge_record, judge_step, session_folders
from kills import judge_killed

from assistant.core.values.events import Closed
from assistant.writeup import write_html, write_text

if TYPE_CHECKING:
    from pathlib import Path

AT_ANY_TIME = "signal at any instant"
IN_A_WRITE = "signal inside a write"
CLOSED_TERMINAL = "closed terminal"

NUMBERS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)

BOUND_S = 10.0
"""A program that was told to end has ended after so long, s, also on a busy machine."""

SLOW_MS = 60
"""How long a sync takes on a slow disk, ms."""


def _at_any_time(tried: Try) -> None:
    rng, sessions = tried.rng, tried.folder / "sessions"
    phase = rng.choices(("starting", "in session", "closing"), (2, 6, 1))[0]
    keys = random_keys(rng, rng.randrange(1, 300)) + (CLOSING if phase == "closing" else b"")
    driven = start(session_command(sessions), tried.folder)
    driven.press(keys)
    began = time.monotonic()
    if phase == "starting":
        driven.read(began + rng.uniform(0.0, 0.9))
    else:
        driven.read(began + LONGEST_S, b"Session closed" if phase == "closing" else b"SAYS")
        driven.read(time.monotonic() + rng.uniform(0.0, 0.4))
    _send_and_judge(tried, driven, keys, sessions, surely_open=False)


def _in_a_write(tried: Try) -> None:
    rng, sessions = tried.rng, tried.folder / "sessions"
    keys = random_keys(rng, rng.randrange(5, 60))
    sessions.mkdir()
    driven = start(session_command(sessions), tried.folder, shim=shim.variables(sessions, slow_ms=SLOW_MS))
    driven.press(keys)
    # After the first sentence the session is there; the next mark is the beginning of the sync of a line.
    driven.read(time.monotonic() + LONGEST_S, b"SAYS")
    driven.read(time.monotonic() + LONGEST_S, marks=driven.marks.count(b"(") + rng.randrange(1, 15))
    driven.read(time.monotonic() + rng.uniform(0.0, SLOW_MS / 1000))
    inside = driven.marks.rstrip(b"wsorm").endswith(b"(")
    tried.counts["while a line was synced" if inside else "between two syncs"] += 1
    _send_and_judge(tried, driven, keys, sessions, surely_open=True)


def _send_and_judge(tried: Try, driven: Driven, keys: bytes, sessions: Path, *, surely_open: bool) -> None:
    """Send one signal, or two, or many in a row; then judge how it ended and what it left."""
    rng = tried.rng
    number = rng.choice(NUMBERS)
    times = rng.choices((1, 2, 8), (8, 2, 1))[0]
    spoken = b"SAYS" in driven.out
    closing = b"Session closed" in driven.out
    already = driven.process.poll() is not None
    for _ in range(times):
        driven.signal(number)
        if times > 1:
            driven.read(time.monotonic() + rng.choice((0.0, 0.01, 0.1)))
    began = time.monotonic()
    status = driven.end(BOUND_S)
    tried.counts[f"{signal.Signals(number).name} x{times}"] += 1
    out = bytes(driven.out)
    (tried.folder / "printed.txt").write_bytes(out + bytes(driven.errors))
    tried.check(
        status is not None, f"it had not ended {time.monotonic() - began:.0f} s after {times} signals"
    )
    if already or status is None:
        return
    at_once = {128 + number, -number}
    expected = {0} if spoken and not closing and times == 1 else {0, *at_once}
    tried.check(status in expected, f"exit status {status} after {times} x {signal.Signals(number).name}")
    orderly = Ran(0, out, bytes(driven.errors))
    for spoilt in spoils(orderly):
        tried.wrong(spoilt)
    folders = session_folders(sessions)
    tried.check(bool(folders) or not spoken, "it spoke, and there is no session")
    for folder in folders:
        if status == 0 and (spoken or surely_open):
            judge_ended(tried, folder, out, keys)
        else:
            judge_killed(tried, folder, out, keys)


def judge_ended(tried: Try, folder: Path, out: bytes, keys: bytes | None) -> None:
    """A session that was ended in good order is whole, closed and written up, and goes on where it was."""
    session = judge_record(tried, folder, may_be_torn=False)
    if session is None:
        return
    judge_dialogue(tried, session, out, keys)
    judge_step(tried, session)
    if not session.sealed:
        last = session.lines[-1].event if session.lines else None
        tried.check(isinstance(last, Closed), f"the last event is {type(last).__name__}, not Closed")
    for name, made in (("write-up.txt", write_text), ("write-up.html", write_html)):
        path = folder / name
        if path.is_file():
            tried.check(
                path.read_text(encoding="utf-8") == made(folder), f"{name} is not what it would be made now"
            )
        else:
            tried.wrong(f"there is no {name}")
    if tried.rng.random() < 0.1:
        ran = command(["writeup", str(folder)], tried.folder)
        tried.check(ran.status == 0 and bool(ran.out), f"writeup ended with {ran.status}")
        tried.counts["written up by the program"] += 1
    if not session.sealed:
        judge_going_on(tried, folder)


def _closed_terminal(tried: Try) -> None:
    """The window is closed: SIGHUP, and every descriptor of the terminal is dead."""
    rng, sessions = tried.rng, tried.folder / "sessions"
    drawn = rng.random() < 0.5
    # with a procedure, because a terminal is asked for the facts otherwise
    arguments = [word for word in session_command(sessions, "no-start") if word != "--plain" or not drawn]
    driven = start(arguments, tried.folder, whole_terminal=True)
    keys = random_keys(rng, rng.randrange(1, 80))
    driven.read(time.monotonic() + LONGEST_S, b"\x1b[2J" if drawn else b"SAYS")
    driven.read(time.monotonic() + 0.2)
    driven.press(keys)
    driven.read(time.monotonic() + rng.uniform(0.0, 0.5))
    out = bytes(driven.out)
    driven.no_more_keys()
    status = driven.end(BOUND_S)
    tried.counts["drawn" if drawn else "line by line"] += 1
    tried.check(status == 0, f"exit status {status} when its terminal was closed")
    folders = session_folders(sessions)
    tried.check(len(folders) == 1, f"{len(folders)} sessions")
    for folder in folders:
        session = judge_record(tried, folder, may_be_torn=False)
        if session is None:
            continue
        if not drawn:
            judge_dialogue(tried, session, out, keys, all_read=False)
        last = session.lines[-1].event if session.lines else None
        tried.check(isinstance(last, Closed) or session.sealed is not None, "the record was not closed")
        tried.check((folder / "write-up.txt").is_file(), "there is no write-up")
        if not session.sealed:
            judge_going_on(tried, folder)
    tried.check(
        not os.path.lexists(tried.folder / ".local/state/bay-assistant/defect.txt"), "it kept a traceback"
    )


def _with_shim(plan: Plan) -> Outcome:
    if shim.library() is None:
        return Outcome(IN_A_WRITE, skipped=shim.NO_COMPILER)
    return run_tries(IN_A_WRITE, _in_a_write, plan)


ATTACKS = (
    Attack(AT_ANY_TIME, 333, 6, lambda plan: run_tries(AT_ANY_TIME, _at_any_time, plan)),
    Attack(IN_A_WRITE, 167, 5, _with_shim),
    Attack(CLOSED_TERMINAL, 40, 2, lambda plan: run_tries(CLOSED_TERMINAL, _closed_terminal, plan)),
)
