"""Verify: an altered session does not pass."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings, strategies as st
from sample_log import begin, record, tone
from test_log import largest_file

from assistant.core.values.events import Clip, NoInput, NoteRecorded
from assistant.errors import BayAssistantError, RecordBroken, RecordProblem
from assistant.record import SessionLog, read_session, verify

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture(scope="module")
def kept() -> Iterator[dict[str, Path]]:
    """An open session, a sealed one, and one whose log goes on in a second file."""
    parent = Path(tempfile.mkdtemp())
    with begin(parent, "open") as log:
        record(log)
    with begin(parent, "seal") as sealed:
        record(sealed)
        sealed.seal()
    with begin(parent, "two2") as two:
        record(two, 4)
        with largest_file((two.folder / "log.jsonl").stat().st_size + 50):
            two.append(NoInput(30.0), ())
        two.append(NoInput(31.0), ())
        two.seal()
    yield {"open": log.folder, "sealed": sealed.folder, "two files": two.folder}
    shutil.rmtree(parent)


def altered(folder: Path, name: str, change: bytes) -> list[str]:
    """Return what verify says when a file holds other bytes; the file is put back."""
    path = folder / name
    before = path.read_bytes()
    path.write_bytes(change)
    try:
        return [str(finding) for finding in verify(folder)]
    except BayAssistantError as error:
        return [str(error)]
    finally:
        path.write_bytes(before)


@given(st.data())
@settings(max_examples=80)
@pytest.mark.parametrize("which", ["open", "sealed", "two files"])
def test_any_altered_byte_is_found(kept: dict[str, Path], which: str, data: st.DataObject) -> None:
    """A change of any byte of any file is found; in an open session, of all but its last line."""
    folder = kept[which]
    names = sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())
    name = data.draw(st.sampled_from(names))
    content = (folder / name).read_bytes()
    end = content.rindex(b"\n", 0, -1) + 1 if which == "open" and name == "log.jsonl" else len(content)
    position = data.draw(st.integers(0, end - 1))
    other = data.draw(st.integers(1, 255))
    change = content[:position] + bytes([content[position] ^ other]) + content[position + 1 :]
    assert altered(folder, name, change)


@given(st.data())
@settings(max_examples=60)
@pytest.mark.parametrize("which", ["sealed", "two files"])
def test_any_cut_of_a_sealed_session_is_found(kept: dict[str, Path], which: str, data: st.DataObject) -> None:
    """A sealed session that lost the end of any of its files does not pass."""
    folder = kept[which]
    names = sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())
    name = data.draw(st.sampled_from(names))
    content = (folder / name).read_bytes()
    assert altered(folder, name, content[: data.draw(st.integers(0, len(content) - 1))])


@pytest.mark.parametrize("which", ["open", "sealed", "two files"])
def test_untouched_sessions_pass(kept: dict[str, Path], which: str) -> None:
    """A record that nobody touched has no findings."""
    assert [] == verify(kept[which])


def test_the_broken_place_is_named(kept: dict[str, Path]) -> None:
    """An altered word is found at the line after it, a line taken out at its place."""
    log = (kept["open"] / "log.jsonl").read_bytes()
    (word,) = altered(kept["open"], "log.jsonl", log.replace(b'"words":"feed lit"', b'"words":"feed dim"', 1))
    assert word.startswith(
        "log.jsonl:5: the chain is broken: line 4 is not what this line was written after."
    )
    rows = log.splitlines(keepends=True)
    without = altered(kept["open"], "log.jsonl", b"".join(rows[:2] + rows[3:]))
    assert without[0].startswith("log.jsonl:3: this should be line 3 of the session, but it says 4")
    (cut,) = altered(kept["open"], "log.jsonl", b"".join(rows[:6]) + rows[6][:30])
    assert cut.startswith("log.jsonl:7: the last line is cut short after 30 bytes. Resume the session")
    spaced = altered(kept["open"], "log.jsonl", log[:-2] + b" }\n")
    assert [
        "log.jsonl:7: this line is not written as the program writes it. Take the session from a copy."
    ] == spaced


def test_whole_lines_cut_from_a_sealed_session_are_found(kept: dict[str, Path]) -> None:
    """Lines taken from the end leave a chain that holds; the seal shows it."""
    rows = (kept["sealed"] / "log.jsonl").read_bytes().splitlines(keepends=True)
    found = altered(kept["sealed"], "log.jsonl", b"".join(rows[:-2]))
    assert found[0].startswith("seal.json: the session was sealed with 7 lines; the log holds others now")


def test_clips_procedures_and_strangers(tmp_path: Path) -> None:
    """A missing clip or procedure, and any file that was put in later, are named."""
    with begin(tmp_path) as log:
        record(log)
        log.seal()
    clip = log.folder / "clips" / "0001.flac"
    clip.rename(log.folder / "clips" / "0009.flac")
    (log.folder / "procedures" / "feed.yaml").unlink()
    (log.folder / "procedures" / "extra.yaml").write_text("x: y\n", encoding="utf-8")
    (log.folder / "log.torn").write_bytes(b"x")
    problems = {(finding.path, finding.problem) for finding in verify(log.folder)}
    assert {
        ("clips/0001.flac", "the clip is missing; line 4 of log.jsonl names it"),
        ("clips/0001.flac", "the clip is missing; line 6 of log.jsonl names it"),
        ("clips/0009.flac", "this file was put in after the session was sealed"),
        ("log.torn", "this file was put in after the session was sealed"),
        ("procedures/feed.yaml", "the copied procedure is missing"),
        ("procedures/extra.yaml", "this file was put in after the session began"),
    } == problems


def test_a_clip_cannot_point_out_of_its_folder(tmp_path: Path) -> None:
    """A log that names a file elsewhere is a finding, and the file is not read."""
    with begin(tmp_path) as log:
        clip = log.keep_clip(tone())
        log.append(NoteRecorded(1.0, Clip("../../../etc/hostname", clip.sha256, clip.duration_s)), ())
    assert ["'../../../etc/hostname' is not the name of a clip"] == [f.problem for f in verify(log.folder)]


@pytest.mark.parametrize(
    ("files", "says"),
    [
        ({}, "it has no session.json"),
        ({"session.json": "{}"}, "not the header of a bay-assistant session"),
        ({"session.json": '{"format": "bay-assistant session", "version": 2}'}, "Install the newer"),
    ],
)
def test_other_folders_are_not_sessions(tmp_path: Path, files: dict[str, str], says: str) -> None:
    """Another folder gives one sentence and exit code 2, also for reading and resuming."""
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    for act in (verify, read_session, SessionLog.resume):
        with pytest.raises(RecordProblem, match=says) as caught:
            act(tmp_path)
        assert 2 == caught.value.exit_code


def test_a_missing_folder_and_a_file_are_not_sessions(tmp_path: Path) -> None:
    """A path that is no folder says so."""
    (tmp_path / "file").write_text("x", encoding="utf-8")
    for path in (tmp_path / "nowhere", tmp_path / "file"):
        with pytest.raises(RecordProblem, match="is not a folder"):
            verify(path)


def test_a_broken_session_is_not_read_as_if_it_were_whole(kept: dict[str, Path], tmp_path: Path) -> None:
    """Reading for the write-up refuses an altered session with exit code 1."""
    copy = tmp_path / "copy"
    shutil.copytree(kept["sealed"], copy)
    log = copy / "log.jsonl"
    log.write_bytes(log.read_bytes().replace(b'"confidence":0.97', b'"confidence":0.99'))
    with pytest.raises(
        RecordBroken, match=r"log.jsonl:5: the chain is broken.*bay-assistant verify"
    ) as caught:
        read_session(copy)
    assert 1 == caught.value.exit_code


@given(st.lists(st.binary(max_size=40), max_size=4))
@settings(max_examples=60)
def test_any_bytes_give_findings_or_the_documented_error(kept: dict[str, Path], rows: list[bytes]) -> None:
    """Any log gives findings or a sentence, never another error."""
    content = (kept["open"] / "log.jsonl").read_bytes()
    altered(kept["open"], "log.jsonl", b"\n".join(rows))
    altered(kept["open"], "log.jsonl", content + b"\n".join(rows))
    altered(kept["open"], "session.json", b"\n".join(rows))
    altered(kept["sealed"], "seal.json", b"\n".join(rows))


def test_nested_brackets_do_not_stop_the_check(kept: dict[str, Path]) -> None:
    """A line nested too deep to read is a finding."""
    assert altered(kept["open"], "log.jsonl", b"[" * 200_000 + b"\n")
