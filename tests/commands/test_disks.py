"""Places that cannot be written and disks that fill up: a clear sentence, and nothing recorded is lost."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from calling import KEYS_ONLY, ROOT, Piped, Refused, assert_clear, call, results, until_a_result

from assistant import resources
from assistant.cli import main
from assistant.record import verify

pytestmark = pytest.mark.usefixtures("own_home")


def places_that_cannot_be_written(folder: Path) -> tuple[Path, ...]:
    """For everybody, the superuser too: under a file, and in a file system that makes no files."""
    (folder / "file").touch()
    return folder / "file" / "below", Path("/proc/nowhere")


def test_a_place_that_cannot_be_written_is_refused(refused: Refused, tmp_path: Path, recorded: Path) -> None:
    """`run`, `demo` and `writeup` name the place; none of them leaves a session behind."""
    for place in places_that_cannot_be_written(tmp_path):
        done = call("run", *KEYS_ONLY, "--sessions", place)
        assert 2 == done.returncode
        assert_clear(done.stderr)
        assert str(place) in done.stderr
        assert str(place) in refused("demo", "--out", place)
        assert str(place) in refused("writeup", recorded, "--out", place)
    assert [tmp_path / "file"] == list(tmp_path.iterdir())


def test_without_permission_to_write_it_says_so(tmp_path: Path) -> None:
    """A folder without permission is named with what to do, and nothing is put into it.

    The superuser is let through everywhere, so the program is started without that right (capabilities(7)).
    """
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o555)
    command = [sys.executable, "-m", "assistant", "run", *KEYS_ONLY, "--sessions", str(closed)]
    if os.geteuid() == 0:
        taken = "-dac_override,-dac_read_search"
        command = ["setpriv", f"--bounding-set={taken}", f"--inh-caps={taken}", *command]
    done = subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=60, stdin=subprocess.DEVNULL
    )
    assert 2 == done.returncode
    assert_clear(done.stderr)
    assert "no permission to write" in done.stderr
    assert str(closed) in done.stderr
    assert [] == list(closed.iterdir())


def test_a_log_that_cannot_grow_goes_on_in_a_new_file(tmp_path: Path) -> None:
    """At the largest file size allowed the record goes on in another file: said once, and nothing is lost."""
    sessions = tmp_path / "sessions"
    # More than any copied procedure has, less than the log of this session; the likelihoods are left out.
    procedures = tmp_path / "procedures"
    procedures.mkdir()
    for path in resources.directory("procedures").glob("*.yaml"):
        if path.name != "odds.yaml":  # it would need the likelihoods, which are larger than the limit
            shutil.copy(path, procedures)
    largest = max(path.stat().st_size for path in procedures.iterdir())
    program = Piped(
        "battery-and-cranking", "--procedures", procedures, "--sessions", sessions, file_limit=largest + 1000
    )
    until_a_result(program)
    for _ in range(200):
        program.press("*")
        time.sleep(0.02)
        if "log-2.jsonl" in program.text:
            break
    program.press("qq")
    status, error = program.ended()
    (folder,) = sessions.iterdir()
    assert (0, "") == (status, error)
    assert "goes on in log-2.jsonl" in program.text
    assert {"log.jsonl", "log-2.jsonl"} <= {path.name for path in folder.iterdir()}
    assert [] == verify(folder)
    assert [("battery-at-rest", "12.5")] == results(folder)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 2 MiB, where one may be mounted; a session begins with a copy of its procedures."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(disk)], check=False, capture_output=True
    )
    if mounted.returncode:
        pytest.skip("no disk may be mounted here; the record's own tests stand in for this one")
    try:
        yield disk
    finally:
        subprocess.run(["umount", "--lazy", str(disk)], check=True)


def fill(disk: Path) -> Path:
    """Leave no space on a disk; gives the file that takes it up."""
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as out:
        for size in (4096, 1):
            try:
                while True:
                    out.write(b"\0" * size)
            except OSError:
                pass
    return filler


def test_a_disk_that_fills_up_moves_the_session_and_loses_nothing(
    small_disk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Full in the middle of a session: it goes on in a place that it names, and from there at the same step."""
    sessions = small_disk / "sessions"
    program = Piped("battery-and-cranking", "--sessions", sessions)
    until_a_result(program)
    fill(small_disk)
    for _ in range(40):  # the last page of the log may still have room
        program.press("*")
        time.sleep(0.05)
    program.wait_for("goes on, in")
    program.press("//qq")
    assert (0, "") == program.ended()
    (folder,) = (Path(os.environ["HOME"]) / ".local" / "state" / "bay-assistant" / "kept").iterdir()
    assert f"in {folder}." in program.text
    assert "disk is full" in program.text
    assert [("battery-at-rest", "12.5")] == results(folder)
    assert [] == verify(folder)
    assert 0 == main(["replay", str(folder)])
    capsys.readouterr()


def test_a_full_disk_refuses_a_new_session(small_disk: Path) -> None:
    """No room for a session: said so, and no half of one is left."""
    filler = fill(small_disk)
    done = call("run", *KEYS_ONLY, "--sessions", small_disk / "sessions")
    assert 2 == done.returncode
    assert_clear(done.stderr)
    assert "disk is full" in done.stderr
    filler.unlink()
    left = small_disk / "sessions"
    assert [] == (list(left.iterdir()) if left.exists() else [])
