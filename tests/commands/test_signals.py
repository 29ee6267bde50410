"""Real processes that are told to end, interrupted, or left by their reader: the signal's own end, and nothing left."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from calling import ROOT, assert_clear

pytestmark = pytest.mark.usefixtures("own_home")

PROGRAM = (sys.executable, "-m", "assistant")
LONGEST_S = 60


@contextlib.contextmanager
def started(folder: Path, *arguments: str) -> Iterator[subprocess.Popen[str]]:
    """A command with a folder for its temporary files, in a group of processes of its own."""
    folder.mkdir(exist_ok=True)
    program = subprocess.Popen(
        [*PROGRAM, *arguments],
        cwd=ROOT,
        env={**os.environ, "TMPDIR": str(folder)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),  # noqa: PLW1509
    )
    try:
        yield program
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(program.pid, signal.SIGKILL)
        program.communicate()


def group(leader: int) -> list[int]:
    """The processes of a group that still live, proc(5): the fifth field of ``stat``, after the name in brackets."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            state, _parent, of = path.read_text().rpartition(")")[2].split()[:3]
            if int(of) == leader and state != "Z":
                found.append(int(path.parent.name))
    return found


def wait_until(done: Callable[[], object], what: str) -> None:
    """Wait until a function is true."""
    end = time.monotonic() + LONGEST_S
    while time.monotonic() < end:
        if done():
            return
        time.sleep(0.05)
    pytest.fail(f"not within {LONGEST_S} s: {what}")


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT], ids=lambda one: one.name)
def test_a_proof_ends_with_its_processes(tmp_path: Path, number: signal.Signals) -> None:
    """In the middle of the work of several processes: dead by that signal, no traceback, no process, no file."""
    with started(tmp_path / "t", "prove", "--systems", "20000") as program:
        wait_until(lambda: len(group(program.pid)) >= 3, "further processes have started")
        if number == signal.SIGINT:
            os.killpg(program.pid, number)  # as a terminal sends it
        else:
            program.send_signal(number)
        _, error = program.communicate(timeout=LONGEST_S)
        assert -number == program.returncode
        assert error == ("bay-assistant: Interrupted.\n" if number == signal.SIGINT else "")
        wait_until(lambda: not group(program.pid), "no process of it lives")
    assert [] == list((tmp_path / "t").iterdir())


def test_temporary_files_go(tmp_path: Path) -> None:
    """A command that is told to end while it fills a temporary folder takes that folder away."""
    with started(tmp_path / "t", "bench", "sessions", "--count", "20000") as program:
        wait_until(lambda: list((tmp_path / "t").glob("*/*")), "something in a temporary folder")
        program.send_signal(signal.SIGTERM)
        _, error = program.communicate(timeout=LONGEST_S)
        assert -signal.SIGTERM == program.returncode
        assert "Traceback" not in error
    assert [] == list((tmp_path / "t").iterdir())


def test_a_lint_ends(tmp_path: Path) -> None:
    """The main process works alone here; a shell sees 143."""
    with started(tmp_path / "t", "lint") as program:
        time.sleep(1.5)
        program.send_signal(signal.SIGTERM)
        out, error = program.communicate(timeout=LONGEST_S)
        assert (-signal.SIGTERM, "", "") == (program.returncode, out, error)


@pytest.mark.parametrize(
    "command", ["procedures", "lint --help", "procedures coil-control", "licences", "sessions"]
)
@pytest.mark.parametrize("reader", ["true", "head -1"])
@pytest.mark.parametrize("buffered", ["", "1"])
def test_a_reader_that_has_gone_ends_it_silently(command: str, reader: str, buffered: str) -> None:
    """As coreutils and grep do: killed by SIGPIPE (141 in a shell), or all was read (0); nothing on standard error."""
    done = subprocess.run(
        [
            "bash",
            "-c",
            f'"$0" -m assistant {command} | {reader} >/dev/null; echo ${{PIPESTATUS[0]}}',
            sys.executable,
        ],
        cwd=ROOT,
        env={**os.environ, "PYTHONUNBUFFERED": buffered},
        capture_output=True,
        text=True,
        check=False,
        timeout=LONGEST_S,
    )
    assert "" == done.stderr
    assert done.stdout.strip() in ("0", "141")
    if reader == "true" and command != "sessions":
        assert "141" == done.stdout.strip()


@pytest.mark.parametrize("command", ["procedures", "--help", "licences"])
@pytest.mark.parametrize("output", [">&-", ">/dev/full"])
def test_output_that_cannot_be_written_is_said(command: str, output: str) -> None:
    """Closed standard output and a full disk: one sentence and exit status 2 (full(4))."""
    done = subprocess.run(
        ["bash", "-c", f'"$0" -m assistant {command} {output}', sys.executable],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=LONGEST_S,
    )
    if (command, output) != ("--help", ">&-"):  # a help page that nobody can read is no failure
        assert 2 == done.returncode
        assert_clear(done.stderr)
    assert "Traceback" not in done.stderr


def test_what_is_ignored_stays_ignored(tmp_path: Path) -> None:
    """`nohup` makes a program ignore SIGHUP, and it goes on."""
    done = subprocess.run(
        [
            "bash",
            "-c",
            'trap "" HUP; "$0" -m assistant procedures & P=$!; sleep 0.05; kill -HUP $P; wait $P',
            sys.executable,
        ],
        cwd=ROOT,
        env={**os.environ, "TMPDIR": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
        timeout=LONGEST_S,
    )
    assert (0, "") == (done.returncode, done.stderr)
    assert "coil-control" in done.stdout


IN_A_CALLBACK = """
import os, signal, time, weakref
from assistant.commands.ending import status_of

class Thing: pass

def gone(_):
    os.kill(os.getpid(), signal.{number})
    for _ in range(1000): pass  # the handler runs in here, where Python lets no exception through

def command():
    thing = Thing()
    reference = weakref.ref(thing, gone)
    del thing
    time.sleep(30)
    return 0

status = status_of(command)
print(status, flush=True)
"""


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_that_comes_in_a_callback_ends_it_too(number: signal.Signals) -> None:
    """Where Python would swallow the end and print a traceback, the process dies of the signal, without a word."""
    done = subprocess.run(
        [sys.executable, "-c", IN_A_CALLBACK.format(number=number.name)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        check=False,
    )
    assert (-number, "", "") == (done.returncode, done.stdout, done.stderr)
