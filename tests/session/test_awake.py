"""The machine stays awake while a session runs, and not a moment longer."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from assistant.session.awake import Awake

INHIBIT = """#!/bin/sh
# Stands in for systemd-inhibit: notes its options, holds a "lock" while its program runs.
for last; do :; done
printf '%s\\n' "$@" > {folder}/asked
touch {folder}/locked
"$last"
rm {folder}/locked
"""


@pytest.fixture
def lock(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A login manager's lock: a file that is there while it is held."""
    programs = tmp_path / "bin"
    programs.mkdir()
    (programs / "systemd-inhibit").write_text(INHIBIT.format(folder=tmp_path), encoding="utf-8")
    (programs / "systemd-inhibit").chmod(0o755)
    monkeypatch.setenv("PATH", f"{programs}:{os.environ['PATH']}")
    return tmp_path / "locked"


def waited_for(lock: Path, *, held: bool) -> None:
    until = time.monotonic() + 30
    while lock.exists() is not held and time.monotonic() < until:
        time.sleep(0.02)
    assert held == lock.exists()


def test_the_lock_is_held_until_it_is_given_back(lock: Path) -> None:
    """Sleep and the dark screen are held off, with who and why; afterwards not, also when given back twice."""
    awake = Awake()
    waited_for(lock, held=True)
    assert awake.held_after(0.1)
    asked = (lock.parent / "asked").read_text(encoding="utf-8").splitlines()
    assert {"--what=idle:sleep", "--who=bay-assistant", "--mode=block"} <= set(asked)
    awake.close()
    awake.close()
    waited_for(lock, held=False)
    assert not awake.held


def test_macos_is_asked_with_its_own_program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where only caffeinate is there, it holds off idle sleep and the dark screen while its program runs."""
    programs = tmp_path / "bin"
    programs.mkdir()
    (programs / "caffeinate").write_text(INHIBIT.format(folder=tmp_path), encoding="utf-8")
    (programs / "caffeinate").chmod(0o755)
    for name in ("cat", "touch", "rm", "sh"):
        (programs / name).symlink_to(shutil.which(name) or name)
    monkeypatch.setenv("PATH", str(programs))
    awake = Awake()
    waited_for(tmp_path / "locked", held=True)
    assert ["-d", "-i", str(programs / "cat")] == (tmp_path / "asked").read_text(
        encoding="utf-8"
    ).splitlines()
    awake.close()
    waited_for(tmp_path / "locked", held=False)


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM, signal.SIGHUP, None])
def test_no_lock_outlives_the_program(lock: Path, number: signal.Signals | None) -> None:
    """However the program ends, by itself, by a signal, or without a chance to do anything, the lock goes with it."""
    code = (
        "import sys\nfrom assistant.session.awake import Awake\nawake = Awake()\n"
        "print('on', flush=True)\nsys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as program:
        assert program.stdout is not None
        assert program.stdin is not None
        assert b"on\n" == program.stdout.readline()
        waited_for(lock, held=True)
        if number is None:
            program.stdin.close()
        else:
            program.send_signal(number)
        program.wait(timeout=30)
    waited_for(lock, held=False)


def test_control_c_does_not_take_the_lock(lock: Path) -> None:
    """A signal to everything in the terminal reaches our program alone, which closes the session first."""
    awake = Awake()
    waited_for(lock, held=True)
    assert awake._holder is not None
    assert os.getpgid(0) != os.getpgid(awake._holder.pid)
    awake.close()


def test_nothing_happens_without_it(lock: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No systemd-inhibit, or one that refuses, as for somebody who is logged in from elsewhere: no lock, no error."""
    (lock.parent / "bin" / "systemd-inhibit").write_text("#!/bin/sh\nexit 1\n", encoding="utf-8")
    awake = Awake()
    assert not awake.held_after(30)
    awake.close()
    monkeypatch.setenv("PATH", str(lock.parent))
    absent = Awake()
    assert not absent.held
    absent.close()


@pytest.mark.parametrize("ended", ["qq", "+", "killed"])
def test_a_session_holds_the_lock_as_long_as_it_lasts(lock: Path, tmp_path: Path, ended: str) -> None:
    """A whole session by keys: closed, left by the end of its keys, and killed; the lock is gone with it each time."""
    command = [sys.executable, "-m", "assistant", "run", "--keys-only", "--silent", "--plain"]
    with subprocess.Popen(
        [*command, "--sessions", str(tmp_path / "sessions")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    ) as program:
        assert program.stdin is not None
        assert program.stdout is not None
        assert b"SAYS" in program.stdout.readline()
        waited_for(lock, held=True)
        if ended == "killed":
            program.kill()
        else:
            program.stdin.write(ended.encode())
        program.stdin.close()
        program.stdout.read()
        assert (-signal.SIGKILL if ended == "killed" else 0) == program.wait(timeout=60)
    waited_for(lock, held=False)
