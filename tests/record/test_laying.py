"""A session's folder: private, durable, and swept up when the program was killed while it laid it."""

from __future__ import annotations

import os
import stat
from typing import TYPE_CHECKING

import pytest
from sample_log import begin, record

from assistant.core.values.events import Resumed
from assistant.record import SessionLog
from assistant.record.laying import _held, sweep, tidy
from assistant.record.storage import make_private_folder, write_file

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture(params=[0o000, 0o077, 0o022])
def _umask(request: pytest.FixtureRequest) -> Iterator[None]:
    before = os.umask(request.param)
    yield
    os.umask(before)


def modes(folder: Path) -> set[tuple[bool, int]]:
    """Kind and mode of a folder and of all in it."""
    return {(path.is_dir(), stat.S_IMODE(path.stat().st_mode)) for path in [folder, *folder.rglob("*")]}


@pytest.mark.usefixtures("_umask")
def test_only_its_owner_reads_a_session(tmp_path: Path) -> None:
    """Folders 0700 and files 0600, whatever the umask, from the header to the seal."""
    with begin(tmp_path) as log:
        record(log)
        log.seal()
    assert {(True, 0o700), (False, 0o600)} == modes(tmp_path / "sessions")


def test_an_older_session_is_made_private_when_it_goes_on(tmp_path: Path) -> None:
    """A session that an earlier version left readable is closed by resuming it; half-written files go."""
    with begin(tmp_path) as log:
        record(log, 3)
    for path in [log.folder, *log.folder.rglob("*")]:
        path.chmod(0o755 if path.is_dir() else 0o644)
    (log.folder / ".seal.json.part").write_bytes(b"{")
    with SessionLog.resume(log.folder) as again:
        again.append(Resumed(60.0), ())
    assert {(True, 0o700), (False, 0o600)} == modes(log.folder)
    assert not (log.folder / ".seal.json.part").exists()


def test_tidying_follows_no_link(tmp_path: Path) -> None:
    """The target of a link in a session folder keeps its mode."""
    outside = tmp_path / "outside"
    outside.write_text("x")
    outside.chmod(0o644)
    inside = tmp_path / "session"
    inside.mkdir()
    (inside / "link").symlink_to(outside)
    tidy(inside)
    assert 0o644 == stat.S_IMODE(outside.stat().st_mode)


def test_a_folder_left_behind_by_a_kill_is_swept_up(tmp_path: Path) -> None:
    """The next session removes it; what another program is laying, or is nobody's, stays."""
    sessions = tmp_path / "sessions"
    sessions.mkdir()
    left = sessions / ".2026-11-25-1400-abcd.new"
    held = sessions / ".2026-11-25-1401-abcd.new"
    other = sessions / ".notes.new"
    for folder in (left, held, other):
        folder.mkdir()
        (folder / "file").write_text("x")
    hold = _held(held)
    assert hold is not None
    begin(tmp_path).close()
    assert [held.name, other.name] == sorted(path.name for path in sessions.glob(".*"))
    os.close(hold)
    sweep(sessions)
    assert [other.name] == sorted(path.name for path in sessions.glob(".*"))


def test_missing_parents_are_made_durable_from_the_top(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each new folder's name is synced in the folder above it."""
    synced: list[Path] = []
    monkeypatch.setattr("assistant.record.storage.sync_folder", synced.append)
    make_private_folder(tmp_path / "a" / "b" / "c")
    assert [tmp_path, tmp_path / "a", tmp_path / "a" / "b"] == synced
    make_private_folder(tmp_path / "a" / "b")
    assert 3 == len(synced)


def test_an_interrupt_leaves_no_half_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No part of a file stays when anything strikes while it is written."""

    def interrupted(_descriptor: int, _data: bytes) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("assistant.record.storage.write_all", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_file(tmp_path / "file", b"x")
    assert [] == list(tmp_path.iterdir())
