"""SIGKILL in a session with sound from files, through the real recogniser and voice: `bay-assistant demo`."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from driving import start
from harness import Attack, Try, run_tries
from judging import session_folders
from kills import judge_killed

from assistant.record import read_clip, read_session
from assistant.record.recorded import clips_of

if TYPE_CHECKING:
    from pathlib import Path

NAME = "kill, sound from files"
_LONGEST_S = 7.0
"""About as long as the demonstration takes, s; a slower machine is killed earlier in it."""


def _one(tried: Try) -> None:
    out_folder = tried.folder / "demo"
    driven = start(["demo", "--out", str(out_folder)], tried.folder)
    began = time.monotonic()
    # Most instants lie in the session itself, after the model and the voice are loaded.
    if tried.rng.random() < 0.9:
        driven.read(began + 60.0, b"SAYS")
        began = time.monotonic()
    driven.read(began + tried.rng.uniform(0.0, _LONGEST_S))
    driven.kill()
    folders = session_folders(out_folder / "sessions")
    out = bytes(driven.out)
    (tried.folder / "printed.txt").write_bytes(out)
    if not folders:
        tried.check(b"SAYS" not in out, "it spoke, and there is no session")
        tried.counts["before there was a session"] += 1
        return
    _judge_clips(tried, folders[0])
    judge_killed(tried, folders[0], out, None)


def _judge_clips(tried: Try, folder: Path) -> None:
    """Every clip that the log names is there, whole, with the checksum that the log gives."""
    for line in read_session(folder).lines:
        for clip in clips_of(line.event):
            read_clip(folder, clip)
            tried.counts["clips"] += 1


ATTACKS = (Attack(NAME, 100, 1, lambda plan: run_tries(NAME, _one, plan)),)
