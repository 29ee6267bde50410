"""Files with voices of people and data of customers can be read by their owner only, whatever the umask."""

from __future__ import annotations

import os
import stat
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from recorded import OPEN_CONTROL_WIRE, folder, scripted

from assistant.cli import main
from assistant.commands import packing
from assistant.private import write_named
from assistant.record import find_sessions

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture(autouse=True, params=[0, 0o022])
def umask(request: pytest.FixtureRequest) -> Iterator[None]:
    """The widest umask, and the usual one."""
    before = os.umask(request.param)
    yield
    os.umask(before)


def mode(path: Path) -> int:
    """The permissions of a file or folder."""
    return stat.S_IMODE(path.stat().st_mode)


def test_bags_are_private(tmp_path: Path) -> None:
    """The folder, all in it, the ZIP file, and what comes out of it."""
    session = folder(tmp_path / "sessions", scripted(*OPEN_CONTROL_WIRE))
    packing.pack(session, tmp_path / "bag")
    packing.pack(session, tmp_path / "bag.zip")
    assert 0o600 == mode(tmp_path / "bag.zip")
    for path in [tmp_path / "bag", *(tmp_path / "bag").rglob("*")]:
        assert (0o700 if path.is_dir() else 0o600) == mode(path), path
    with zipfile.ZipFile(tmp_path / "bag.zip") as packed:
        for one in packed.infolist():
            assert (0o700 if one.is_dir() else 0o600) == stat.S_IMODE(one.external_attr >> 16), one.filename


def test_a_write_up_that_is_named_is_private(tmp_path: Path) -> None:
    """A new file is; one that is there keeps the permissions that somebody gave it."""
    session = folder(tmp_path / "sessions", scripted(*OPEN_CONTROL_WIRE))
    out = tmp_path / "order.txt"
    assert 0 == main(["writeup", str(session), "--out", str(out)])
    assert 0o600 == mode(out)
    out.chmod(0o644)
    assert 0 == main(["writeup", str(session), "--html", "--out", str(out)])
    assert 0o644 == mode(out)
    assert out.read_text(encoding="utf-8").startswith("<!doctype html>")


def test_the_index_is_private_also_one_of_an_earlier_version(tmp_path: Path) -> None:
    """It holds names and numbers of customers."""
    folder(tmp_path / "sessions", scripted(*OPEN_CONTROL_WIRE))
    index = tmp_path / "sessions" / "index.sqlite3"
    assert () == find_sessions(index.parent).notices
    assert 0o600 == mode(index)
    index.chmod(0o644)
    assert () == find_sessions(index.parent).notices
    assert 0o600 == mode(index)


def test_an_index_that_is_a_link_or_a_pipe_is_not_used(tmp_path: Path) -> None:
    """Nothing is written where a link leads, nothing waits for a pipe, and the list is the same."""
    session = folder(tmp_path / "sessions", scripted(*OPEN_CONTROL_WIRE))
    index = session.parent / "index.sqlite3"
    index.symlink_to(tmp_path / "elsewhere")
    for rebuild in (False, True):
        found = find_sessions(session.parent, rebuild=rebuild)
        assert [session.name] == [one.id for one in found.summaries]
        assert "it is a link, not a file" in found.notices[0]
    assert not (tmp_path / "elsewhere").exists()
    index.unlink()
    os.mkfifo(index)
    assert "it is a named pipe, not a file" in find_sessions(session.parent, rebuild=True).notices[0]


def test_the_trace_of_a_defect_is_private(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It may hold what was typed."""
    from assistant.commands import transcript  # noqa: PLC0415

    def fail(*_: object) -> None:
        raise ZeroDivisionError

    session = folder(tmp_path / "sessions", scripted(*OPEN_CONTROL_WIRE))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(transcript, "show", fail)
    assert 2 == main(["replay", str(session), "--show"])
    assert "Details for the developers" in capsys.readouterr().err
    trace = tmp_path / "state" / "bay-assistant" / "defect.txt"
    assert (0o600, 0o700) == (mode(trace), mode(trace.parent))


def test_what_is_named_may_be_no_file(tmp_path: Path) -> None:
    """A pipe is written to, a link followed, and a file that is there is cut to its new length."""
    out = tmp_path / "out"
    write_named(out, b"long")
    write_named(out, b"x")
    assert (b"x", 0o600) == (out.read_bytes(), mode(out))
    (tmp_path / "link").symlink_to(tmp_path / "made")
    write_named(tmp_path / "link", b"x")
    assert (b"x", 0o600) == ((tmp_path / "made").read_bytes(), mode(tmp_path / "made"))
    device = mode(Path(os.devnull))
    write_named(Path(os.devnull), b"x")
    assert device == mode(Path(os.devnull))
