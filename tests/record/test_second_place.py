"""A record that is taken away or finds no room goes on elsewhere, and says so at the next line."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import numpy as np
import pytest
from sample_log import begin, record, tone

from assistant.core.values.events import NoInput, Resumed
from assistant.errors import DiskNearlyFull, RecordProblem
from assistant.record import SessionLog, log as log_module, logfiles, read_session, verify
from assistant.record.second_place import places

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


@pytest.fixture(autouse=True)
def _own_places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No test leaves anything in the person's folders."""
    (tmp_path / "temporary").mkdir()
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path / "temporary"))


def _unlinked(log: SessionLog) -> None:
    (log.folder / "log.jsonl").unlink()


def _replaced(log: SessionLog) -> None:
    (log.folder / "log.jsonl").unlink()
    (log.folder / "log.jsonl").write_text("something else\n")


def _linked(log: SessionLog) -> None:
    path = log.folder / "log.jsonl"
    path.rename(log.folder / "elsewhere")
    path.symlink_to("elsewhere")


def _folder_gone(log: SessionLog) -> None:
    shutil.rmtree(log.folder)


def _all_gone(log: SessionLog) -> None:
    shutil.rmtree(log.folder.parent)


def _moved(log: SessionLog) -> None:
    log.folder.rename(log.folder.with_name("moved-away"))


@pytest.mark.parametrize("attack", [_unlinked, _replaced, _linked, _folder_gone, _all_gone, _moved])
def test_a_record_that_was_taken_away_is_whole_in_a_second_place(
    tmp_path: Path, attack: Callable[[SessionLog], None]
) -> None:
    """The next line says what happened and where all of it is now; there it is verified and resumed."""
    with begin(tmp_path) as log:
        record(log, 3)
        first = log.folder
        attack(log)
        problem = log.append(NoInput(50.0), ())
        assert problem is not None
        assert log.folder != first
        assert str(log.folder) in str(problem)
        assert log.append(NoInput(51.0), ()) is None
        second = log.folder
    assert 5 == len(read_session(second).lines)
    assert [] == verify(second)
    with SessionLog.resume(second) as again:
        again.append(Resumed(60.0), ())
        again.seal()
    assert [] == verify(second)


def test_a_removed_sessions_folder_is_not_made_again(tmp_path: Path) -> None:
    """The disk may come back under that name: the second place is the user's state folder then."""
    with begin(tmp_path) as log:
        record(log, 2)
        _all_gone(log)
        log.append(NoInput(50.0), ())
        assert tmp_path / "state" / "bay-assistant" / "kept" == log.folder.parent
    assert not (tmp_path / "sessions").exists()


def test_sound_that_is_still_there_comes_along(tmp_path: Path) -> None:
    """Clips are copied; further ones are numbered on and kept in the second place."""
    with begin(tmp_path) as log:
        record(log, 4)  # with a clip
        _unlinked(log)
        log.append(NoInput(50.0), ())
        number = int(log.keep_clip(tone().astype(np.int16)).file[6:10])
        names = [f"{one:04d}.flac" for one in range(1, number + 1)]
        assert names == sorted(path.name for path in (log.folder / "clips").iterdir())


def test_sound_that_went_with_its_folder_is_said_and_found(tmp_path: Path) -> None:
    """A clip that can no longer be copied is told at once, and `verify` names each one."""
    with begin(tmp_path) as log:
        record(log, 4)
        _folder_gone(log)
        problem = log.append(NoInput(50.0), ())
        assert "1 piece of sound" in str(problem)
    assert ["clips/0001.flac"] == [finding.path for finding in verify(log.folder)]


def test_a_seal_finds_out_too(tmp_path: Path) -> None:
    """A record that is taken away between the last line and the seal is sealed in the second place."""
    with begin(tmp_path) as log:
        record(log, 3)
        _folder_gone(log)
        problem = log.seal()
        assert problem is not None
        assert [] == verify(log.folder)


def test_a_second_program_cannot_write_the_second_place(tmp_path: Path) -> None:
    """It is locked like the first."""
    with begin(tmp_path) as log:
        record(log, 2)
        _unlinked(log)
        log.append(NoInput(50.0), ())
        with pytest.raises(RecordProblem, match="in use"):
            SessionLog.resume(log.folder)


def test_without_any_place_the_lines_wait(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No place takes it: an error says so, and the next line that can be written brings the others along."""
    with begin(tmp_path) as log:
        record(log, 3)
        _all_gone(log)
        with monkeypatch.context() as patch:
            patch.setattr("assistant.record.second_place.places", lambda _sessions: [])
            for at in (50.0, 51.0):
                with pytest.raises(RecordProblem, match="No second place"):
                    log.append(NoInput(at), ())
        assert log.append(NoInput(52.0), ()) is not None
        folder = log.folder
    assert 6 == len(read_session(folder).lines)
    assert [] == verify(folder)


def test_a_place_of_somebody_else_is_not_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder for temporary files that another user made ready is passed over."""
    trap = tmp_path / "trap"
    trap.mkdir()
    monkeypatch.setattr("assistant.record.second_place.places", lambda _sessions: [trap])
    with begin(tmp_path) as log:
        record(log, 2)
        _all_gone(log)
        monkeypatch.setattr("os.geteuid", lambda: 12345)
        with pytest.raises(RecordProblem, match="belongs to somebody else"):
            log.append(NoInput(50.0), ())
    assert [] == list(trap.iterdir())


def test_the_order_of_places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside the session first, then the user's own folders; XDG's relative path is ignored."""
    monkeypatch.setenv("XDG_STATE_HOME", "relative")
    found = places(tmp_path)
    assert tmp_path == found[0]
    assert ["kept", "bay-assistant"] == [found[1].name, found[1].parent.name]
    assert "relative" not in str(found[1])


def test_a_nearly_full_disk_is_told_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Below 100 MB, and again only after there was room."""
    room = [500, 99, 98, 500, 97]
    monkeypatch.setattr(logfiles.LogFiles, "free_bytes", lambda _files: room.pop(0) * 1_000_000)
    assert 100_000_000 == log_module.LOW_DISK_BYTES
    with begin(tmp_path) as log:
        told = [log.append(NoInput(float(at)), ()) for at in range(5)]
    assert [False, True, False, False, True] == [isinstance(one, DiskNearlyFull) for one in told]
    assert "99 MB" in str(told[1])
    assert [] == verify(log.folder)


@pytest.mark.parametrize("strikes", ["before", "behind"])
def test_an_exception_in_the_middle_of_a_write_breaks_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, strikes: str
) -> None:
    """An interrupt that strikes before or behind the bytes leaves a whole record; the line counts once."""
    with begin(tmp_path) as log:
        record(log, 3)
        write = logfiles.write_all

        def interrupted(descriptor: int, data: bytes) -> None:
            if strikes == "behind":
                write(descriptor, data)
            monkeypatch.undo()
            raise KeyboardInterrupt

        monkeypatch.setattr(logfiles, "write_all", interrupted)
        with pytest.raises(KeyboardInterrupt):
            log.append(NoInput(50.0), ())
        log.append(NoInput(51.0), ())
    assert [] == verify(log.folder)
    assert [50.0, 51.0] == [line.event.at for line in read_session(log.folder).lines[-2:]]
