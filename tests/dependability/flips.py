"""Every bit of every file of a short sealed session with a clip and two reviews, turned over one at a time."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from harness import Attack, Outcome, Plan, Try, run_tries
from sample import short_session

from assistant.errors import BayAssistantError
from assistant.record import verify

if TYPE_CHECKING:
    from pathlib import Path

NAME = "bit flips, every bit"
_AT_ONCE = 1000
"""Flips that one try makes, one after the other."""


def _all_flips(plan: Plan) -> Outcome:
    made = plan.workdir / "flipped-session"
    made.mkdir(parents=True, exist_ok=True)
    bits = 8 * sum(path.stat().st_size for path in _files(short_session(made)))
    # A run of few tries takes bits evenly from all files; a full one takes every bit.
    tries = min(plan.tries, math.ceil(bits / _AT_ONCE))
    step = max(1, bits // (tries * _AT_ONCE))

    def one(tried: Try) -> None:
        _flip(tried, range(tried.number * step, bits, tries * step))

    plan = Plan(tries, plan.workdir, plan.seed, plan.jobs, plan.first)
    return run_tries(NAME, one, plan, processes=True)


def _files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def _flip(tried: Try, positions: range) -> None:
    folder = short_session(tried.folder)
    tried.check(verify(folder) == [], "the unaltered session has findings")
    files = _files(folder)
    starts = [0]
    for path in files:
        starts.append(starts[-1] + 8 * path.stat().st_size)
    tried.weight = len(positions)
    tried.counts["files"] = len(files) if tried.number == 0 else 0
    at = 0
    for position in positions:
        while position >= starts[at + 1]:
            at += 1
        path, (byte, bit) = files[at], divmod(position - starts[at], 8)
        data = path.read_bytes()
        path.write_bytes(data[:byte] + bytes([data[byte] ^ (1 << bit)]) + data[byte + 1 :])
        try:
            noticed = bool(verify(folder))
        except BayAssistantError:
            noticed = True
        path.write_bytes(data)
        tried.check(noticed, f"{path.relative_to(folder)}: bit {bit} of byte {byte} can be turned unnoticed")


ATTACKS = (Attack(NAME, 400, 1, _all_flips),)
