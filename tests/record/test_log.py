"""Writing a session: durable, chained, and never silently lost."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import resource
import subprocess
import sys
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile
from sample_log import FACTS, START, begin, procedure_folder, record, story, taken, ticking, tokens, tone

from assistant.core.values.events import Clip, NoInput, Note, Resumed
from assistant.core.values.starter import StarterLimits
from assistant.errors import RecordBroken, RecordProblem
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.record import SessionLog, read_session, verify

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

CLIP = Clip("clips/0001.flac", "0" * 64, 0.2)


@contextmanager
def largest_file(size: int) -> Iterator[None]:
    """Let no file grow beyond this: writing past it fails as it does on a full disk."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@contextmanager
def no_rights() -> Iterator[None]:
    """Be somebody who may not write here; the superuser may always, so step down for a moment."""
    if os.geteuid() == 0:
        os.seteuid(65534)
        try:
            yield
        finally:
            os.seteuid(0)
    else:
        yield


def test_a_session_is_a_folder_with_all_that_belongs_to_it(tmp_path: Path) -> None:
    """Header, log, clips and the copied procedures are in one folder, named after the minute it began."""
    with begin(tmp_path) as log:
        record(log)
    assert tmp_path / "sessions" / "2026-11-25-1432-k7f3" == log.folder
    assert ["clips", "log.jsonl", "procedures", "session.json"] == sorted(
        p.name for p in log.folder.iterdir()
    )
    assert ["feed.yaml", "terms.yaml"] == sorted(p.name for p in log.procedures.iterdir())
    assert ["2026-11-25-1432-k7f3"] == [p.name for p in log.folder.parent.iterdir()]


def test_the_header_holds_what_was_typed_and_what_was_in_force(tmp_path: Path) -> None:
    """Facts, thresholds, time with offset and the checksums of the procedures are read back as they were."""
    procedure_folder(tmp_path)
    thresholds = replace(DEFAULT_THRESHOLDS, starter=StarterLimits(longest_s=6.5), note_s=30.0)
    log = SessionLog.create(tmp_path, FACTS, tmp_path / "procedures", thresholds=thresholds, now=ticking())
    log.close()
    header = read_session(log.folder).header
    assert (FACTS, thresholds, START) == (header.facts, header.thresholds, header.started)
    assert timedelta(hours=-5) == header.started.utcoffset()
    digest = hashlib.sha256((tmp_path / "procedures" / "feed.yaml").read_bytes()).hexdigest()
    assert digest == header.procedures["feed.yaml"]


def test_events_and_actions_are_read_back_as_they_were(tmp_path: Path) -> None:
    """The record is exactly the events, their times and the actions they caused."""
    with begin(tmp_path) as log:
        clip = log.keep_clip(tone())
        lines = story(clip)
        for event, actions in lines:
            log.append(event, actions)
    session = read_session(log.folder)
    assert lines == [(line.event, line.actions) for line in session.lines]
    assert list(range(1, len(lines) + 1)) == [line.number for line in session.lines]
    assert START + timedelta(seconds=1.25) == session.lines[0].time


def test_the_chain_is_what_sha256sum_says(tmp_path: Path) -> None:
    """Outside check: the sha256sum program on each line gives what the next line holds (GNU coreutils)."""
    with begin(tmp_path) as log:
        record(log)
    rows = (log.folder / "log.jsonl").read_bytes().splitlines(keepends=True)
    before = subprocess.run(
        ["sha256sum", log.folder / "session.json"], capture_output=True, check=True
    ).stdout
    for number, row in enumerate(rows, start=1):
        assert before.split()[0].decode() == json.loads(row)["previous"]
        sed = subprocess.run(
            ["sed", "-n", f"{number}p", log.folder / "log.jsonl"], capture_output=True, check=True
        ).stdout
        before = subprocess.run(["sha256sum"], input=sed, capture_output=True, check=True).stdout


def test_a_clip_loses_nothing(tmp_path: Path) -> None:
    """The sound of a clip is the sound that was given, at 16 kHz, and its checksum is that of the file."""
    samples = tone(0.5)
    with begin(tmp_path) as log:
        first, second = log.keep_clip(samples), log.keep_clip(samples[:0])
    assert ("clips/0001.flac", 0.5) == (first.file, first.duration_s)
    assert ("clips/0002.flac", 0.0) == (second.file, second.duration_s)
    again, rate = soundfile.read(log.folder / first.file, dtype="int16")
    assert 16_000 == rate
    assert np.array_equal(samples, again)
    assert first.sha256 == hashlib.sha256((log.folder / first.file).read_bytes()).hexdigest()


def test_sound_of_another_kind_is_refused(tmp_path: Path) -> None:
    """Floating-point or two-channel sound would be stored wrongly; it is a mistake of the caller."""
    with begin(tmp_path) as log:
        for samples in (np.zeros(10, np.float32), np.zeros((10, 2), np.int16)):
            with pytest.raises(ValueError, match="one channel of int16"):
                log.keep_clip(samples)


def test_a_name_that_is_taken_is_not_used_twice(tmp_path: Path) -> None:
    """Two sessions of one minute with the same token get two folders; the first is untouched."""
    with begin(tmp_path) as first:
        record(first)
    library = tmp_path / "procedures"
    second = SessionLog.create(
        tmp_path / "sessions", FACTS, library, now=ticking(), token=tokens("k7f3", "k7f3", "m2m2")
    )
    second.close()
    assert "2026-11-25-1432-m2m2" == second.folder.name
    assert [] == verify(first.folder)
    assert 2 == len(list((tmp_path / "sessions").iterdir()))
    with pytest.raises(RecordProblem, match="No free name"):
        SessionLog.create(tmp_path / "sessions", FACTS, library, now=ticking(), token=lambda: "k7f3")


def test_two_programs_cannot_write_one_session(tmp_path: Path) -> None:
    """While one program records, another is refused, and may go on after the first has ended."""
    code = (
        "import sys, pathlib; from assistant.record import SessionLog; "
        "SessionLog.resume(pathlib.Path(sys.argv[1]))"
    )
    with begin(tmp_path) as log:
        record(log, 2)
        with pytest.raises(RecordProblem, match="in use by another"):
            SessionLog.resume(log.folder)
        other = subprocess.run([sys.executable, "-c", code, log.folder], capture_output=True, check=False)
        assert b"in use by another" in other.stderr
    SessionLog.resume(log.folder).close()


def test_a_session_goes_on_where_it_ended(tmp_path: Path) -> None:
    """A resumed session continues numbers, chain and clips in the same file."""
    with begin(tmp_path) as log:
        record(log, 4)
    with SessionLog.resume(log.folder, now=ticking()) as again:
        assert again.recorded is not None
        assert 4 == len(again.recorded.lines) == again.lines
        assert 0 == again.torn
        assert "clips/0002.flac" == again.keep_clip(tone()).file
        again.append(Resumed(60.0), ())
    assert Resumed(60.0) == read_session(log.folder).lines[4].event
    assert [] == verify(log.folder)


@pytest.mark.parametrize("kept", [0, 1, 40, -1])
def test_a_torn_last_line_is_set_aside_not_dropped(tmp_path: Path, kept: int) -> None:
    """The remains of a last line after a power failure are kept in log.torn and said; all before them counts."""
    with begin(tmp_path) as log:
        record(log, 4)
    path = log.folder / "log.jsonl"
    *whole, last = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(whole) + last[:kept])
    assert len(last[:kept]) == read_session(log.folder).torn
    with SessionLog.resume(log.folder, now=ticking()) as again:
        assert len(last[:kept]) == again.torn
        assert 3 == again.lines
        again.append(Resumed(60.0), ())
    if kept:
        assert last[:kept] == (log.folder / "log.torn").read_bytes()
    assert [] == verify(log.folder)
    assert 4 == len(read_session(log.folder).lines)


def test_a_second_torn_line_does_not_replace_the_first(tmp_path: Path) -> None:
    """Each torn piece gets a file of its own."""
    with begin(tmp_path) as log:
        record(log, 2)
    for piece in (b'{"numb', b'{"number":3'):
        with (log.folder / "log.jsonl").open("ab") as file:
            file.write(piece)
        SessionLog.resume(log.folder).close()
    assert b'{"numb' == (log.folder / "log.torn").read_bytes()
    assert b'{"number":3' == (log.folder / "log.torn-2").read_bytes()
    with SessionLog.resume(log.folder) as again:
        again.seal()
    assert [] == verify(log.folder)


def test_a_session_killed_at_any_byte_goes_on(tmp_path: Path) -> None:
    """Cut the log at every place a power failure could: every line that was whole is still there."""
    with begin(tmp_path) as log:
        record(log, 3)
    path = log.folder / "log.jsonl"
    content = path.read_bytes()
    for end in range(0, len(content) + 1, 23):
        path.write_bytes(content[:end])
        with SessionLog.resume(log.folder) as again:
            assert content[:end].count(b"\n") == again.lines
        (log.folder / "log.torn").unlink(missing_ok=True)


def test_nothing_confirmed_is_lost_when_killed(tmp_path: Path) -> None:
    """A program that is killed outright while it records has on disk every line that it was told is safe."""
    code = (
        "import sys, pathlib\n"
        "from assistant.core.values.events import NoInput\n"
        "from assistant.record import SessionLog\n"
        "log = SessionLog.resume(pathlib.Path(sys.argv[1]))\n"
        "for at in range(1_000_000):\n"
        "    log.append(NoInput(float(at)), ())\n"
        "    print(log.lines, flush=True)\n"
    )
    with begin(tmp_path) as log:
        record(log, 3)
    with subprocess.Popen(
        [sys.executable, "-c", code, log.folder], stdout=subprocess.PIPE, text=True
    ) as program:
        assert program.stdout is not None
        confirmed = [int(program.stdout.readline()) for _ in range(40)]
        program.kill()
        confirmed += [int(line) for line in program.stdout.read().split("\n")[:-1]]
    assert list(range(4, confirmed[-1] + 1)) == confirmed
    with SessionLog.resume(log.folder) as again:
        assert confirmed[-1] <= again.lines <= confirmed[-1] + 1
    assert [] == verify(log.folder)


def test_sealing_ends_a_session(tmp_path: Path) -> None:
    """A sealed session takes nothing more and cannot be resumed; its checksums hold."""
    with begin(tmp_path) as log:
        record(log)
        log.seal()
        with pytest.raises(RecordProblem, match="closed and sealed"):
            log.append(NoInput(99.0), ())
    with pytest.raises(RecordProblem, match="closed and sealed"):
        SessionLog.resume(log.folder)
    seal = read_session(log.folder).sealed
    assert seal is not None
    assert 7 == seal.lines
    assert {"session.json", "log.jsonl", "clips/0001.flac"} == set(seal.files)
    assert [] == verify(log.folder)


def test_a_closed_log_says_so(tmp_path: Path) -> None:
    """Writing after closing is refused with a sentence."""
    log = begin(tmp_path)
    log.close()
    with pytest.raises(RecordProblem, match="Resume it first"):
        log.append(NoInput(1.0), ())


def test_a_failed_write_goes_on_in_a_new_file(tmp_path: Path) -> None:
    """When the log may not grow, the line goes to log-2.jsonl, the chain holds, and the person is told."""
    with begin(tmp_path) as log:
        record(log, 3)
        size = (log.folder / "log.jsonl").stat().st_size
        with largest_file(size + 30):
            warning = log.append(NoInput(30.0), ())
        assert "goes on in log-2.jsonl. Nothing that was confirmed is lost" in str(warning)
        assert log.append(NoInput(31.0), ()) is None
        log.seal()
    assert size + 30 == (log.folder / "log.jsonl").stat().st_size
    session = read_session(log.folder)
    assert [1, 2, 3, 4, 5] == [line.number for line in session.lines]
    assert [NoInput(30.0), NoInput(31.0)] == [line.event for line in session.lines[3:]]
    assert 0 == session.torn
    assert [] == verify(log.folder)


def test_a_failed_fsync_is_never_tried_again_on_the_same_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After fdatasync failed, the whole line is written again to a new file, and that one is used on."""
    with begin(tmp_path) as log:
        record(log, 3)
        used: list[int] = []

        def fails(descriptor: int) -> None:
            used.append(descriptor)
            raise OSError(errno.EIO, os.strerror(errno.EIO))

        with monkeypatch.context() as patch:
            patch.setattr(os, "fdatasync", fails)
            assert "The disk failed" in str(log.append(NoInput(30.0), ()))
        assert 1 == len(used)
        log.append(NoInput(31.0), ())
    assert 4 == (log.folder / "log.jsonl").read_bytes().count(b"\n")
    assert 2 == (log.folder / "log-2.jsonl").read_bytes().count(b"\n")
    assert 5 == len(read_session(log.folder).lines)
    assert [] == verify(log.folder)
    with SessionLog.resume(log.folder) as again:
        assert 5 == again.lines
        again.append(NoInput(32.0), ())
    assert [] == verify(log.folder)


def test_a_full_disk_loses_nothing(tmp_path: Path) -> None:
    """Nothing can be written: the error says so; once there is room, all that waited is written in order."""
    with begin(tmp_path) as log:
        record(log, 3)
        with largest_file(40):
            for at in (30.0, 31.0):
                with pytest.raises(RecordProblem, match="largest file size"):
                    log.append(NoInput(at), ())
            with pytest.raises(RecordProblem, match="largest file size"):
                log.keep_clip(tone())
            with pytest.raises(RecordProblem, match="largest file size"):
                log.seal()
            assert 3 == log.lines
        assert "log-2.jsonl" in str(log.append(NoInput(32.0), ()))
        assert 6 == log.lines
        assert "clips/0002.flac" == log.keep_clip(tone()).file
        log.seal()
    assert [30.0, 31.0, 32.0] == [line.event.at for line in read_session(log.folder).lines[3:]]
    assert [] == verify(log.folder)
    assert [] == [path.name for path in log.folder.rglob(".*")]


@pytest.mark.parametrize(
    ("number", "says"),
    [(errno.ENOSPC, "disk is full"), (errno.EROFS, "no permission"), (errno.EACCES, "no permission"),
     (errno.ENOENT, "folder does not exist"), (errno.EIO, "disk failed"), (errno.EBUSY, "cannot be written")],
)  # fmt: skip
def test_each_failure_has_its_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, says: str
) -> None:
    """A person is told what happened and which file it was, with exit code 2."""

    def fails(descriptor: int, data: bytes) -> int:
        raise OSError(number, os.strerror(number))

    with begin(tmp_path) as log:
        record(log, 1)
        monkeypatch.setattr(os, "write", fails)
        with pytest.raises(RecordProblem, match=says) as caught:
            log.append(NoInput(5.0), ())
        monkeypatch.undo()
    assert 2 == caught.value.exit_code
    assert "log-2.jsonl" in str(caught.value)


def test_without_permission_it_says_so(tmp_path: Path) -> None:
    """A sessions folder that may not be written gives a sentence and leaves nothing behind."""
    procedure_folder(tmp_path)
    parent = tmp_path / "sessions"
    parent.mkdir(mode=0o500)
    with no_rights(), pytest.raises(RecordProblem, match="no permission"):
        SessionLog.create(parent, FACTS, tmp_path / "procedures")
    parent.chmod(0o700)
    assert [] == list(parent.iterdir())


def test_creating_on_a_full_disk_leaves_nothing(tmp_path: Path) -> None:
    """A session that cannot be begun leaves no half folder."""
    procedure_folder(tmp_path)
    with largest_file(10), pytest.raises(RecordProblem, match="largest file size"):
        SessionLog.create(tmp_path / "sessions", FACTS, tmp_path / "procedures")
    assert [] == list((tmp_path / "sessions").iterdir())


def test_an_altered_session_is_not_resumed(tmp_path: Path) -> None:
    """Going on with an altered session would give it a chain that holds; it is refused and left alone."""
    with begin(tmp_path) as log:
        record(log)
    path = log.folder / "log.jsonl"
    altered = path.read_bytes().replace(b"feed lit", b"feed dim") + b"torn"
    path.write_bytes(altered)
    with pytest.raises(RecordBroken, match="not what was recorded"):
        SessionLog.resume(log.folder)
    assert altered == path.read_bytes()


def test_strange_text_and_levels_are_recorded(tmp_path: Path) -> None:
    """An undecodable byte typed on a command line, line separators, an infinite level, exact digits."""
    facts = type(FACTS)(complaint="odd \udcff byte\u2028\nnext line")
    procedure_folder(tmp_path)
    with SessionLog.create(tmp_path, facts, tmp_path / "procedures") as log:
        result = taken(1, "verdict:x\u2028\udcff\n", Decimal("12.40"))
        log.append(NoInput(float("inf")), (Note(result),))
    session = read_session(log.folder)
    assert facts == session.header.facts
    assert float("inf") == session.lines[0].event.at
    assert (Note(result),) == session.lines[0].actions
    assert [] == verify(log.folder)
