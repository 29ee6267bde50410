"""SIGKILL at random instants of the installed executable: while it starts, in a session, while it closes."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from driving import CLOSING, LONGEST_S, command, random_keys, session_command, spoils, start
from harness import Attack, Try, run_tries
from judging import (
    judge_dialogue,
    judge_going_on,
    judge_record,
    judge_step,
    judge_write_up,
    session_folders,
    unfinished,
)

from assistant.record import read_session
from assistant.record.storage import sha256

if TYPE_CHECKING:
    from pathlib import Path

NAME = "kill, keys only"

_START_S = 0.9
"""About the time from start to the first sentence, s, with room for a busy machine."""

_CLOSING_S = 0.5
"""About the time from the last sentence to the end of the program, s: seal and write-up."""


def _one(tried: Try) -> None:
    rng, sessions = tried.rng, tried.folder / "sessions"
    phase = rng.choices(("starting", "in session", "closing"), (3, 6, 3))[0]
    keys = random_keys(rng, rng.randrange(1, 400 if phase == "in session" else 40))
    if phase == "closing":
        keys += CLOSING
    facts = ["--order", "4711", "--technician", "R. Alvarez"] if rng.random() < 0.3 else []
    terminal = phase != "starting" and rng.random() < 0.25
    driven = start(session_command(sessions, *facts), tried.folder, terminal=terminal)
    began = time.monotonic()
    if terminal:  # before it is taken over, a terminal edits the line that is typed
        driven.read(began + LONGEST_S, b"SAYS")
    driven.press(keys)
    if phase == "starting":
        driven.read(began + rng.uniform(0.0, _START_S))
    elif phase == "in session":
        driven.read(began + LONGEST_S, b"SAYS")
        driven.read(time.monotonic() + rng.uniform(0.0, 0.4))
    else:
        driven.read(began + LONGEST_S, b"Session closed")
        driven.read(time.monotonic() + rng.uniform(0.0, _CLOSING_S))
    driven.kill()
    tried.counts[f"killed {phase}"] += 1
    out = bytes(driven.out)
    (tried.folder / "printed.txt").write_bytes(out)
    folders = session_folders(sessions)
    if not folders:
        tried.check(b"SAYS" not in out, "it spoke, and there is no session")
        tried.counts["before there was a session"] += 1
        _judge_next_start(tried, sessions)
        return
    tried.check(len(folders) == 1, f"{len(folders)} sessions of one start")
    judge_killed(tried, folders[0], out, keys)
    if rng.random() < 0.1:
        _judge_next_start(tried, sessions)


def judge_killed(tried: Try, folder: Path, out: bytes, keys: bytes | None) -> None:
    """A killed session has all that was shown, goes on where it was, and is whole when it is closed then."""
    session = judge_record(tried, folder, may_be_torn=True)
    if session is None:
        return
    judge_dialogue(tried, session, out, keys)
    tried.counts["lines"] += len(session.lines)
    if session.sealed:
        judge_step(tried, session)
        judge_write_up(tried, folder)
        tried.counts["already sealed"] += 1
    elif tried.rng.random() < 0.15:
        go_on_with_the_program(tried, folder)
    else:
        judge_going_on(tried, folder)


def go_on_with_the_program(tried: Try, folder: Path) -> None:
    """Resume with the executable itself, answer, close; the record is whole, with every earlier line."""
    before = read_session(folder)
    keys = random_keys(tried.rng, 6) + CLOSING
    ran = command(session_command(folder.parent, "--resume", folder.name), tried.folder, keys=keys)
    (tried.folder / "printed-2.txt").write_bytes(ran.out + ran.errors)
    for spoilt in spoils(ran):
        tried.wrong(f"resuming: {spoilt}")
    tried.check(
        ran.status == 0, f"resuming ended with {ran.status}: {ran.errors.decode(errors='replace')[-200:]}"
    )
    session = judge_record(tried, folder, may_be_torn=False)
    if session is None:
        return
    tried.check(session.lines[: len(before.lines)] == before.lines, "going on changed earlier lines")
    judge_dialogue(tried, session, ran.out, keys, before=len(before.lines))
    judge_step(tried, session)
    tried.check(session.sealed is not None, "closed, and not sealed")
    tried.check((folder / "write-up.txt").is_file(), "there is no write-up")
    tried.counts["resumed by the program"] += 1


def _judge_next_start(tried: Try, sessions: Path) -> None:
    """The next start in the same folder works and clears away what the killed one had not finished."""
    there = {path.name: sha256((path / "session.json").read_bytes()) for path in session_folders(sessions)}
    left = unfinished(sessions)
    ran = command(session_command(sessions), tried.folder, keys=CLOSING)
    for spoilt in spoils(ran):
        tried.wrong(f"next start: {spoilt}")
    tried.check(ran.status == 0, f"the next start ended with {ran.status}")
    tried.check(
        not unfinished(sessions), f"the next start left {', '.join(unfinished(sessions))} of a killed one"
    )
    after = {path.name: sha256((path / "session.json").read_bytes()) for path in session_folders(sessions)}
    tried.check(
        there.items() <= after.items() and len(after) == len(there) + 1, "a session was lost or is missing"
    )
    if left:
        tried.counts["unfinished ones to clear"] += 1


ATTACKS = (Attack(NAME, 900, 8, lambda plan: run_tries(NAME, _one, plan)),)
