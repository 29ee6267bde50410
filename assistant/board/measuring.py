"""How long a tap takes to the new board, and what watching tablets do to the session's delay."""

from __future__ import annotations

import io
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.benchmarks import percentile
from assistant.board.trial import HOME, BoardTrial
from assistant.errors import UsageProblem
from assistant.screen.terminal import LineScreen

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from assistant.core.values.board import Board

TAPS = 120
WATCHERS = 20
ROUNDS = 6
TURNS = 60
BETWEEN_S = 0.02

_TAPPING = """async (taps) => {
  const took = [], wait = (ms) => new Promise(done => setTimeout(done, ms));
  const painted = () => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)));
  for (let at = 0; at < taps; at++) {
    while (performance.now() - changedAt <= SETTLE_MS) await wait(20);
    const before = board;
    const number = [...document.querySelectorAll('#number button')];
    const one = at % 3 === 0 && number.length ? number.find(key => key.textContent === '7')
      : at % 3 === 1 && number.length ? document.querySelector('#keys button[data-names="minus"]')
      : document.querySelector('#keys button[data-names="slash"]') || document.querySelector('#choices button');
    const start = performance.now();
    one.click();
    while (board === before) await new Promise(done => { const channel = new MessageChannel();
      channel.port1.onmessage = done; channel.port2.postMessage(0); });
    await painted();
    took.push(performance.now() - start);
    await wait(30);
  }
  return took;
}"""
"""Taps in turn a digit, the key that clears it, stand by or go ahead; a board is painted two frames after it came."""


@dataclass(frozen=True)
class BoardFigure:
    """A figure: its name, value and limit in ms, and how many were measured; the limit is None for none."""

    name: str
    value_ms: float
    limit_ms: float | None
    count: int


def measure(progress: Callable[[str], None]) -> list[BoardFigure]:
    """All figures.

    Raises:
        UsageProblem: There is no browser to measure in.
    """
    progress("taps in a browser")
    seen = _SeenBoards()
    with tempfile.TemporaryDirectory() as folder, BoardTrial(Path(folder), seen) as trial:
        taps = _taps(trial)
    alone, watched = [], []
    with tempfile.TemporaryDirectory() as folder, BoardTrial(Path(folder), seen) as trial:
        _turns(trial, seen, TURNS)
        for number in range(ROUNDS):
            progress(f"turns with and without watchers, {number + 1} of {ROUNDS}")
            alone += _turns(trial, seen, TURNS)
            with watchers(trial, WATCHERS):
                watched += _turns(trial, seen, TURNS)
    return [
        BoardFigure("tap to the new board painted, median", statistics.median(taps), 60, len(taps)),
        BoardFigure("tap to the new board painted, 95th percentile", percentile(taps, 95), 150, len(taps)),
        BoardFigure(
            "key to the session's new board, nobody watches, median",
            statistics.median(alone),
            None,
            len(alone),
        ),
        BoardFigure("the same, 95th percentile", percentile(alone, 95), None, len(alone)),
        BoardFigure(
            f"the same with {WATCHERS} watching tablets, median",
            statistics.median(watched),
            None,
            len(watched),
        ),
        BoardFigure("the same, 95th percentile", percentile(watched, 95), None, len(watched)),
    ]


def _taps(trial: BoardTrial) -> list[float]:
    """Times from a tap to the new board, ms, in the page's own clock."""
    chromium = shutil.which("chromium")
    try:
        from playwright.sync_api import sync_playwright  # noqa: PLC0415  measuring only
    except ImportError:
        chromium = None
    if chromium is None:
        raise UsageProblem(
            "Taps are measured in a browser: install Debian's 'chromium' and Python's 'playwright'."
        )
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 800, "height": 1280})
        page.goto(trial.door.address())
        page.wait_for_selector("#choices button")
        page.wait_for_timeout(500)
        page.click("#choices button")
        page.wait_for_selector("#number button")
        took: list[float] = page.evaluate(_TAPPING, TAPS)
        browser.close()
    return took


class _SeenBoards(LineScreen):
    """A screen that notes when a board comes."""

    def __init__(self) -> None:
        super().__init__(io.StringIO())
        self.came = threading.Event()

    def show(self, board: Board, at: float) -> None:  # noqa: ARG002
        """A board has come; the tablets have been told."""
        self.came.set()


def _turns(trial: BoardTrial, seen: _SeenBoards, count: int) -> list[float]:
    """Times from a key to the board that the loop shows after it, with the record on the disk between them, ms."""
    took = []
    for number in range(count):
        seen.came.clear()
        start = time.perf_counter()
        trial.session.press("slash" if number % 2 == 0 else "enter")
        seen.came.wait(5.0)
        took.append(1000 * (time.perf_counter() - start))
        time.sleep(BETWEEN_S)
    return took


@contextmanager
def watchers(trial: BoardTrial, count: int) -> Iterator[None]:
    """So many watching tablets on the line, in a process of their own."""
    port = trial.door.socket.getsockname()[1]
    arguments = [HOME, str(port), trial.door.tokens.watch, str(count)]
    watching = subprocess.Popen(
        [sys.executable, "-m", "assistant.board.watching", *arguments], stdout=subprocess.PIPE, text=True
    )
    try:
        assert watching.stdout is not None  # noqa: S101
        if watching.stdout.readline().strip() != "watching":
            raise UsageProblem("The watching tablets could not be started.")
        yield
    finally:
        watching.kill()
        watching.wait()
