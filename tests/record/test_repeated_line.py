"""A record that an earlier version broke when it was interrupted: its last line stands twice."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sample_log import begin, record

from assistant.core.values.events import Closed, NoInput, Resumed
from assistant.errors import RecordBroken
from assistant.record import SessionLog, read_session, verify

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def _doubled(rows: list[bytes], at: int) -> bytes:
    return b"".join([*rows[: at + 1], rows[at], *rows[at + 1 :]])


def _interrupted(tmp_path: Path, *, closed: bool) -> Path:
    """Write what the earlier version left: the line, the line again and, mostly, the end of the session."""
    with begin(tmp_path) as log:
        record(log, 7)
        if closed:
            log.append(Closed(90.0, "interrupted"), ())
    path = log.folder / "log.jsonl"
    path.write_bytes(_doubled(path.read_bytes().splitlines(keepends=True), 6))
    return log.folder


@pytest.mark.parametrize("closed", [True, False])
def test_it_is_recognised_and_goes_on(tmp_path: Path, closed: bool) -> None:
    """It verifies, is read with the line once, is resumed and sealed; no byte of it is taken away."""
    folder = _interrupted(tmp_path, closed=closed)
    before = (folder / "log.jsonl").read_bytes()
    session = read_session(folder)
    assert (7, 7 + closed) == (session.repeated, len(session.lines))
    assert [] == verify(folder)
    with SessionLog.resume(folder) as log:
        assert log.recorded is not None
        assert 7 == log.recorded.repeated
        log.append(Resumed(95.0), ())
        log.append(NoInput(96.0), ())
        log.seal()
    assert (folder / "log.jsonl").read_bytes().startswith(before)
    assert [] == verify(folder)
    assert 7 == read_session(folder).repeated


def _in_the_middle(rows: list[bytes]) -> bytes:
    return _doubled(rows, 2)


def _three_times(rows: list[bytes]) -> bytes:
    return b"".join([*rows, rows[-1], rows[-1]])


def _two_places(rows: list[bytes]) -> bytes:
    return b"".join([*rows[:-1], rows[-2], rows[-1], rows[-1]])


@pytest.mark.parametrize("attack", [_in_the_middle, _three_times, _two_places])
def test_what_no_interrupt_leaves_is_still_a_finding(
    tmp_path: Path, attack: Callable[[list[bytes]], bytes]
) -> None:
    """A line that stands twice elsewhere, more often, or in several places was put in."""
    with begin(tmp_path) as log:
        record(log, 7)
    path = log.folder / "log.jsonl"
    path.write_bytes(attack(path.read_bytes().splitlines(keepends=True)))
    assert verify(log.folder)
    with pytest.raises(RecordBroken):
        SessionLog.resume(log.folder)
