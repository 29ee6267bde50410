"""Long work that shows itself: what the bar says, where it goes, and how it ends."""

from __future__ import annotations

import contextlib
import fcntl
import io
import os
import pty
import re
import signal
import struct
import subprocess
import sys
import termios
from pathlib import Path

import pytest
from calling import ROOT
from hypothesis import given, strategies as st

from assistant.commands.time_left import Estimate, TimeLeft, ToldTime, on_a_terminal, slowness, spoken

times = st.floats(0.0, 1e4, allow_nan=False)
weights = st.lists(st.floats(0.1, 1e3), min_size=1, max_size=5)


class Terminal(io.StringIO):
    """Standard error that says it is a terminal."""

    def isatty(self) -> bool:
        return True


@given(weights, st.floats(0.1, 20))
def test_true_weights_give_the_true_time(parts: list[float], slowness: float) -> None:
    """Where parts take times in the ratio of their weights, the time left is the true one after the first report."""
    whole = sum(parts) * slowness
    estimate = Estimate({str(number): weight for number, weight in enumerate(parts)}, known=False)
    at = 0.0
    for number, weight in enumerate(parts):
        estimate.begin(str(number), at)
        for done in range(1, 5):
            now = at + weight * slowness * done / 4
            estimate.report(done, 4, now)
            assert estimate.left(now) == pytest.approx(whole - now, rel=1e-6, abs=1e-6 * whole)
        at += weight * slowness


def test_a_slower_machine_is_learnt_from_its_work() -> None:
    """On a machine five times slower than that of the weights, half a second of trust is soon outweighed."""
    estimate = Estimate({"all": 20.0}, known=True)
    estimate.begin("all", 0.0)
    assert estimate.left(0.0) == pytest.approx(20.0)
    for second in range(1, 51):
        estimate.report(second * 0.2, 20.0, float(second))
    assert estimate.left(50.0) == pytest.approx(50.0, rel=0.05)


def test_a_busy_machine_is_seen_before_the_first_report() -> None:
    """Where the program got a third of a core so far, the known times count three times, and half a second of it."""
    slow = slowness(1.5, 0.5)
    estimate = Estimate({"all": 20.0}, known=True, slowness=slow)
    estimate.begin("all", 0.0)
    assert estimate.left(0.0) == pytest.approx(60.0)
    assert estimate.left(6.0) == pytest.approx(54.0)
    for second in range(1, 11):
        estimate.report(float(second), 20.0, float(second))
    assert estimate.left(10.0) == pytest.approx(10.0, rel=0.1)


@given(times, times)
def test_a_machine_is_presumed_neither_quicker_nor_endlessly_slow(clock: float, processor: float) -> None:
    """One that was idle has slowness 1; a program that waited for somebody, or did nothing yet, tells little."""
    assert 1.0 <= slowness(clock, processor) <= 4.0
    assert 1.0 == slowness(clock, clock)
    assert 1.0 == slowness(clock, 0.0)


def test_of_two_pieces_that_end_together_the_first_report_takes_nothing_back() -> None:
    """Two processes end their pieces at the same moment; the time left does not jump while one report is missing."""
    estimate = Estimate({"all": 20.0}, known=True)
    estimate.begin("all", 0.0)
    estimate.report(0, 20, 0.0, 10)
    before = estimate.left(9.9)
    estimate.report(5, 20, 10.0, 10)
    after = estimate.left(10.0)
    assert before is not None
    assert after is not None
    assert after <= before


@given(weights, st.lists(st.tuples(st.integers(-1, 9), st.integers(0, 8), times), max_size=20), times)
def test_a_share_is_a_share_whatever_is_reported(
    parts: list[float], told: list[tuple[int, int, float]], later: float
) -> None:
    """From 0 to 1, and a time that is not negative, also if too much is reported or nothing at all."""
    estimate = Estimate({str(number): weight for number, weight in enumerate(parts)}, known=True)
    at = 0.0
    for done, of, step in told:
        at += step
        estimate.report(done, of, at)
        assert 0 <= estimate.share(at + later) <= 1
        left = estimate.left(at + later)
        assert left is not None
        assert left >= 0


def test_the_time_goes_by_while_a_part_lasts() -> None:
    """Between two reports the time left sinks with the clock, and a part that lasts longer is not counted as done."""
    estimate = Estimate({"one": 10.0, "two": 10.0}, known=True)
    estimate.begin("one", 0.0)
    assert estimate.left(0.0) == pytest.approx(20.0)
    assert estimate.left(5.0) == pytest.approx(15.0)
    late = estimate.left(30.0)
    assert late is not None
    assert late > 10.0
    assert estimate.share(30.0) == pytest.approx(0.5)


def test_nothing_is_estimated_from_nothing() -> None:
    """Without known times there is no time left before something was done."""
    estimate = Estimate({"all": 1.0}, known=False)
    assert estimate.left(5.0) is None
    estimate.report(1, 4, 5.0)
    assert estimate.left(5.0) == pytest.approx(15.0)


def test_times_are_said_in_few_signs() -> None:
    """Seconds to a minute and a half, then minutes, then hours; never 0 s."""
    assert ["?", "1 s", "45 s", "2 min", "1 h 01 min"] == [
        spoken(seconds) for seconds in (None, 0.0, 45.2, 100.0, 3660.0)
    ]


def test_the_bar_is_drawn_on_a_terminal_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """Not into a pipe, and not where the terminal says that it cannot draw."""
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    monkeypatch.setenv("TERM", "xterm")
    assert not on_a_terminal()
    monkeypatch.setattr(sys, "stderr", Terminal())
    assert on_a_terminal()
    monkeypatch.setenv("TERM", "dumb")
    assert not on_a_terminal()


def test_short_work_shows_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is drawn in the first second."""
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    with TimeLeft("Proving") as left:
        left.show(1, 2)
    assert "" == terminal.getvalue()


def test_words_are_told_once_elsewhere(capsys: pytest.CaptureFixture[str]) -> None:
    """In a file or a pipe each new thing has a line, and what changes behind its colon has none."""
    with ToldTime("Measuring") as line:
        for text in ("memory: 1 of 2", "memory: 2 of 2", "start"):
            line.tell(text)
    assert capsys.readouterr().err == "memory\nstart\n"


WORK = """
import sys, time
from assistant.commands.ending import status_of
from assistant.commands.time_left import TimeLeft
def work():
    with TimeLeft("Proving") as left:
        left.show(1, 3)
        print("working", flush=True)
        while True:
            time.sleep(0.01)
sys.exit(status_of(work))
"""


@pytest.mark.parametrize("columns", [40, 80])
def test_the_line_fits_and_is_clear_after_an_interruption(columns: int, tmp_path: Path) -> None:
    """On a real terminal the bar fits into the line; Ctrl-C empties it, says one sentence and exits with 130."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
    process = subprocess.Popen(
        [sys.executable, "-c", WORK],
        cwd=ROOT,
        env={**os.environ, "TERM": "xterm", "XDG_STATE_HOME": str(tmp_path)},
        stdout=subprocess.DEVNULL,
        stderr=theirs,
    )
    os.close(theirs)
    drawn = b""
    while b" left" not in drawn:
        drawn += os.read(ours, 1024)
    process.send_signal(signal.SIGINT)
    with contextlib.suppress(OSError):  # EIO at its end, pty(7)
        while piece := os.read(ours, 1024):
            drawn += piece
    os.close(ours)
    assert 130 == process.wait(timeout=30)
    *bars, last = drawn.decode().split("\r", maxsplit=drawn.count(b"\r") - 1)
    rows = [row for row in bars if row.strip()]
    shape = re.compile(r"Proving \[[#.]+\] \d+ %, \d+ s, (\d+ s|\?) left *")
    assert [] == [row for row in rows if not shape.fullmatch(row)]
    assert max(map(len, rows)) <= columns
    assert last == "bay-assistant: Interrupted.\r\n"


ASIDE = """
import sys, time
from assistant.commands.time_left import TimeLeft
with TimeLeft("Hearing") as left:
    left.show(1, 3)
    time.sleep(1.6)
    with left.aside():
        print("a result", flush=True)
    time.sleep(0.6)
"""


def test_a_result_on_the_same_terminal_has_a_line_of_its_own() -> None:
    """The bar makes room for what is printed meanwhile, comes back below it, and is gone at the end."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    with subprocess.Popen(
        [sys.executable, "-c", ASIDE],
        cwd=ROOT,
        env={**os.environ, "TERM": "xterm"},
        stdout=theirs,
        stderr=theirs,
    ):
        os.close(theirs)
        drawn = b""
        with contextlib.suppress(OSError):  # EIO at its end, pty(7)
            while piece := os.read(ours, 1024):
                drawn += piece
    os.close(ours)
    before, after = drawn.decode().split("\r\n")
    *bars, result = before.split("\r")
    assert "a result" == result
    assert bars[-1].strip() == ""
    assert any("left" in row for row in bars)
    assert "left" in after
    assert after.split("\r")[-1].strip() == ""
