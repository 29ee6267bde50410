"""The contents of a session's folder: links, strays and removed reviews are found, and nothing outside is read."""

from __future__ import annotations

import os
import socket
from typing import TYPE_CHECKING

import pytest
from sample_log import begin, record

from assistant.cli import main
from assistant.errors import BayAssistantError, RecordBroken, RecordProblem
from assistant.record import SessionLog, add_review, read_session, verify
from assistant.record.contents import look, read_inside
from assistant.record.verifying import remarks

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


@pytest.fixture
def session(tmp_path: Path) -> Path:
    """A sealed session with a clip and a signed review."""
    with begin(tmp_path) as log:
        record(log)
        log.seal()
    add_review(log.folder, reviewer="J. Okoye", done="Mended the wire.", sign="as it was seen\n")
    return log.folder


def found(folder: Path) -> dict[str, str]:
    """Return the findings of verify, by path."""
    return {one.path: one.problem for one in verify(folder)}


def bind(path: Path) -> None:
    """Put a socket at a path of any length."""
    here = os.open(path.parent, os.O_RDONLY)
    try:
        with socket.socket(socket.AF_UNIX) as made:
            made.bind(f"/proc/self/fd/{here}/{path.name}")
    finally:
        os.close(here)


@pytest.mark.parametrize(
    "name",
    [
        "session.json", "log.jsonl", "seal.json", "reviews.jsonl", "reviews-head.json", "writeup-1.txt",
        "clips/0001.flac", "procedures/feed.yaml",
    ],
)  # fmt: skip
def test_a_link_to_the_very_same_bytes_is_found(session: Path, tmp_path: Path, name: str) -> None:
    """Wherever it leads, a link is a finding; no command that reads the record follows it."""
    aside = tmp_path / "aside"
    (session / name).rename(aside)
    (session / name).symlink_to(aside)
    assert "this is a link" in found(session)[name]
    with pytest.raises(RecordBroken, match="is a link"):
        read_inside(session, name)


@pytest.mark.parametrize("name", ["clips", "procedures"])
def test_a_folder_that_is_a_link_is_found(session: Path, tmp_path: Path, name: str) -> None:
    """A folder of the session that was moved elsewhere and linked is not looked into."""
    (session / name).rename(tmp_path / "aside")
    (session / name).symlink_to(tmp_path / "aside")
    assert {name} == set(found(session))
    with pytest.raises(RecordBroken, match="is a link"):
        read_inside(session, f"{name}/{next((tmp_path / 'aside').iterdir()).name}")


@pytest.mark.parametrize("name", ["session.json", "log.jsonl", "seal.json"])
def test_a_linked_record_is_neither_read_nor_gone_on_with(session: Path, tmp_path: Path, name: str) -> None:
    """Writing up, going on and listing refuse a link, too, with a sentence."""
    (session / name).rename(tmp_path / "aside")
    (session / name).symlink_to(tmp_path / "aside")
    with pytest.raises(RecordBroken, match="is a link"):
        read_session(session)
    with pytest.raises(BayAssistantError):
        SessionLog.resume(session)


@pytest.mark.parametrize(
    "make",
    [os.mkfifo, bind, lambda path: path.symlink_to("/dev/zero"), lambda path: path.symlink_to(path.name)],
)
@pytest.mark.parametrize(
    "name", ["session.json", "log.jsonl", "seal.json", "clips/0001.flac", "x", "clips/x"]
)
def test_pipes_sockets_and_devices_are_found_at_once(
    session: Path, name: str, make: Callable[[Path], None]
) -> None:
    """Nothing is opened that would never end, be it in the place of a file or beside one."""
    (session / name).unlink(missing_ok=True)
    make(session / name)
    assert name in found(session)


@pytest.mark.parametrize(
    "name",
    [
        "notes.txt", ".hidden", "clips/0001.wav", "clips/.hidden", "clips/take.flac", "procedures/.x",
        "log.jsonl.bak", "log-1.jsonl", "writeup-9.txt", "bagit.txt", ".notes.txt.part", "\x1b[31m",
    ],
)  # fmt: skip
def test_a_stray_file_is_found(session: Path, name: str) -> None:
    """Every file that the program does not write is a finding, also hidden and half-written ones of other names."""
    (session / name).write_bytes(b"x")
    assert {name} == set(found(session))


def test_a_stray_folder_is_found_and_not_looked_into(session: Path) -> None:
    """A folder that the program does not make is one finding."""
    (session / "clips" / "more").mkdir()
    (session / "clips" / "more" / "0002.flac").write_bytes(b"x")
    (session / "work").mkdir()
    assert {"clips/more", "work"} == set(found(session))


def test_what_the_program_writes_is_no_finding(session: Path) -> None:
    """Write-ups beside the record are part of a session."""
    for name in ("write-up.txt", "write-up.html"):
        (session / name).write_text("made anew at any time", encoding="utf-8")
    assert {} == found(session)
    assert [] == remarks(session)


def test_what_a_killed_program_left_is_said_and_no_finding(
    session: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A half-written file of the program's own is told, with what to do; the session is whole."""
    (session / "clips" / ".0002.flac.part").write_bytes(b"x")
    assert {} == found(session)
    assert 0 == main(["verify", str(session)])
    said = capsys.readouterr().err
    assert "clips/.0002.flac.part was left half written by a program that was stopped." in said
    assert "can be deleted" in said


def test_a_hard_link_is_a_file_like_any_other(session: Path, tmp_path: Path) -> None:
    """A backup that links what did not change verifies; what the file holds is under its checksum all the same."""
    os.link(session / "clips" / "0001.flac", tmp_path / "backup.flac")
    assert {} == found(session)
    with (tmp_path / "backup.flac").open("ab") as file:
        file.write(b"x")
    assert ["clips/0001.flac"] == list(found(session))


@pytest.mark.parametrize(
    "name", ["../aside", "clips/../../aside", "/etc/hostname", "clips//0001.flac", "", "."]
)
def test_no_name_leads_out_of_the_folder(session: Path, name: str) -> None:
    """A name with steps upwards, or from the root, is refused before anything is opened."""
    with pytest.raises(RecordBroken, match="is not the name of a file"):
        read_inside(session, name)


def test_a_file_of_absurd_size_is_not_read(session: Path) -> None:
    """A sparse file of more than what is read costs a sentence, not the memory."""
    with (session / "clips" / "0001.flac").open("r+b") as file:
        file.truncate(1 << 40)
    with pytest.raises(RecordProblem, match="at most"):
        read_inside(session, "clips/0001.flac")
    assert "clips/0001.flac" in found(session)


def test_a_linked_header_hides_no_other_session(session: Path, tmp_path: Path) -> None:
    """A session that is a loop of links, or a pipe, is listed as damaged beside the whole one."""
    from assistant.record import list_sessions  # noqa: PLC0415

    for name, make in (("loop", lambda path: path.symlink_to(path.name)), ("pipe", os.mkfifo)):
        (session.parent / name).mkdir()
        make(session.parent / name / "session.json")
    problems = {one.folder.name: bool(one.problem) for one in list_sessions(session.parent)}
    assert {"loop": True, "pipe": True, session.name: False} == problems
    assert look(session).findings == []
