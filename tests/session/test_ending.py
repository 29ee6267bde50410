"""Signals close the session in good order, and leave nothing behind in the program."""

from __future__ import annotations

import contextlib
import os
import pty
import select
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assistant import resources
from assistant.core.values.events import Closed, TypedFact
from assistant.keys.restoring import Undo
from assistant.record import Facts, SessionLog, read_session, replay, verify
from assistant.session.ending import NUMBERS, Ending

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[2]
RUN = [sys.executable, "-u", "-m", "assistant", "run", "--keys-only", "--silent", "--plain"]


@pytest.fixture(autouse=True)
def _handlers_stay() -> Iterator[None]:
    """Each test leaves the handlers as they were: those of a terminal, however the tests were started.

    In the background of a shell SIGINT is ignored, and the programs that are started here would inherit that.
    """
    usual = {
        signal.SIGINT: signal.default_int_handler,
        signal.SIGTERM: signal.SIG_DFL,
        signal.SIGHUP: signal.SIG_DFL,
    }
    before = {number: signal.signal(number, handler) for number, handler in usual.items()}
    yield
    left = {number: signal.signal(number, handler) for number, handler in before.items()}
    assert usual == left


@pytest.mark.parametrize("number", NUMBERS)
def test_a_signal_asks_and_interrupts_nothing(number: signal.Signals) -> None:
    """A running task goes on to its end; the one who closes the session is told, once."""
    told = threading.Event()
    with Ending() as ending:
        ending.begin()
        ending.tell(told.set)
        os.kill(os.getpid(), number)
        assert told.wait(10)
        assert number == ending.asked


def test_who_comes_late_is_told_at_once() -> None:
    """A signal that came while the session was being made closes it as soon as there is one."""
    told: list[str] = []
    with Ending() as ending:
        ending.begin()
        os.kill(os.getpid(), signal.SIGTERM)
        end = time.monotonic() + 30
        while ending.asked is None and time.monotonic() < end:
            time.sleep(0.01)
        ending.tell(lambda: told.append("close"))
    assert ["close"] == told


def test_a_second_signal_ends_the_program_with_the_terminal_put_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """A second Ctrl-C is not kept waiting by an end that hangs."""
    monkeypatch.setattr("assistant.session.ending.PATIENCE_S", 0.05)
    left: list[int] = []
    restored: list[str] = []
    with Ending(left.append) as ending:
        ending.begin()
        undo = Undo(lambda: restored.append("terminal"))
        for _ in range(2):
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(0.02)
        end = time.monotonic() + 30
        while not left and time.monotonic() < end:
            time.sleep(0.01)
        undo()
    assert ([128 + signal.SIGINT], ["terminal"]) == (left, restored)


def test_a_closed_terminal_hangs_up_twice_and_hurries_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Kernel and shell both send SIGHUP; the write-up is finished all the same."""
    monkeypatch.setattr("assistant.session.ending.PATIENCE_S", 0.0)
    left: list[int] = []
    with Ending(left.append) as ending:
        ending.begin()
        for _ in range(3):
            os.kill(os.getpid(), signal.SIGHUP)
            time.sleep(0.02)
        assert signal.SIGHUP == ending.asked
    assert [] == left


def test_what_was_ignored_stays_ignored() -> None:
    """Under nohup a session goes on when its terminal is closed."""
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with Ending() as ending:
            ending.begin()
            os.kill(os.getpid(), signal.SIGHUP)
            time.sleep(0.05)
            assert ending.asked is None
    finally:
        signal.signal(signal.SIGHUP, before)


@pytest.mark.parametrize("keys", ["terminal", "pipe"])
def test_ctrl_c_at_the_terminal_of_the_keys_is_never_ignored(
    keys: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A script that ignores SIGINT hands that on; Ctrl-C at our own terminal still ends us, and it is put back."""
    ends = pty.openpty() if keys == "terminal" else os.pipe()
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        with os.fdopen(os.dup(ends[1 if keys == "terminal" else 0])) as stdin, Ending() as ending:
            monkeypatch.setattr(sys, "stdin", stdin)
            told = threading.Event()
            ending.begin()
            ending.tell(told.set)
            os.kill(os.getpid(), signal.SIGINT)
            assert told.wait(10 if keys == "terminal" else 0.05) is (keys == "terminal")
        assert signal.SIG_IGN == signal.getsignal(signal.SIGINT)
    finally:
        signal.signal(signal.SIGINT, before)
        for end in ends:
            os.close(end)


def test_the_last_words_are_those_of_the_command(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """A command that keeps no record does not speak of one when a second Ctrl-C ends it."""
    monkeypatch.setattr("assistant.session.ending.PATIENCE_S", 0.0)
    left = threading.Event()
    with Ending(lambda _status: left.set(), last_words="Nothing was changed.") as ending:
        ending.begin()
        for _ in range(2):
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(0.02)
        assert left.wait(10)
    assert capfd.readouterr().err == "\nbay-assistant: Nothing was changed.\n"


def test_an_undo_takes_its_handlers_away_again() -> None:
    """A signal after the terminal was given back does what it did before."""
    before = {number: signal.signal(number, signal.SIG_DFL) for number in (signal.SIGTERM, signal.SIGHUP)}
    try:
        one, other = Undo(lambda: None), Undo(lambda: None)
        assert signal.SIG_DFL != signal.getsignal(signal.SIGTERM)
        one()
        assert signal.SIG_DFL != signal.getsignal(signal.SIGTERM)
        other()
        assert [signal.SIG_DFL] * 2 == [signal.getsignal(number) for number in before]
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _whole(sessions: Path) -> Path:
    """The only session there: closed by an interrupt, verified, replayed, written up."""
    (folder,) = sessions.iterdir()
    assert [] == verify(folder)
    assert [] == list(replay(folder))
    closed = [line.event for line in read_session(folder).lines if isinstance(line.event, Closed)]
    assert 1 == len(closed)
    assert (folder / "write-up.txt").exists()
    return folder


@pytest.mark.parametrize("number", NUMBERS)
def test_a_signalled_session_is_whole_and_goes_on(number: signal.Signals, tmp_path: Path) -> None:
    """Told to end in the middle: exit 0, a closed record, and the same step when it is resumed."""
    sessions = tmp_path / "sessions"
    with subprocess.Popen(
        [*RUN, "--sessions", str(sessions)],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as program:
        assert program.stdin is not None
        assert program.stdout is not None
        assert any("safe to crank" in line for line in iter(program.stdout.readline, ""))
        program.send_signal(number)
        text = program.stdout.read()
        assert 0 == program.wait(30)
    assert "open; go on with: bay-assistant run --resume last" in text
    folder = _whole(sessions)
    done = subprocess.run(
        [*RUN, "--resume", "last", "--sessions", str(sessions)],
        cwd=ROOT, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert (0, "") == (done.returncode, done.stderr)
    assert "Session resumed" in done.stdout
    assert "safe to crank" in done.stdout
    assert [] == verify(folder)


def test_a_closed_terminal_ends_a_session_in_good_order(tmp_path: Path) -> None:
    """The window is closed: exit 0, the record closed and written up, and no word of an error anywhere."""
    sessions = tmp_path / "sessions"
    pid, terminal = pty.fork()
    if pid == 0:  # pragma: no cover  the program's side
        os.chdir(ROOT)
        os.environ["TERM"] = "xterm"
        os.execv(sys.executable, [*RUN[:-1], "no-start", "--sessions", str(sessions)])  # noqa: S606
    seen, end = b"", time.monotonic() + 30
    while b"Keys only" not in seen and time.monotonic() < end:
        if select.select([terminal], [], [], 0.2)[0]:
            with contextlib.suppress(OSError):
                seen += os.read(terminal, 1 << 16)
    os.close(terminal)
    assert b"Keys only" in seen
    assert 0 == os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    _whole(sessions)


def test_a_session_that_was_broken_off_before_its_first_line_begins_anew(tmp_path: Path) -> None:
    """Killed between the folder and the first line: resuming asks the first question, with what was typed."""
    with SessionLog.create(
        tmp_path / "sessions", Facts(order="R-7"), resources.directory("procedures")
    ) as log:
        folder = log.folder
    done = subprocess.run(
        [*RUN, "--resume", "last", "--sessions", str(folder.parent)],
        cwd=ROOT, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert (0, "") == (done.returncode, done.stderr)
    assert "it begins anew" in done.stdout
    assert "safe to crank" in done.stdout
    assert TypedFact("order", "R-7") in read_session(folder).lines[0].event.facts
    assert [] == verify(folder)
