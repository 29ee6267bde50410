"""Long work that shows itself: a bar with the share that is done, the time spent and the time left.

It is on standard error, and only on a terminal; nothing is drawn into a pipe or a file, or where ``TERM`` is ``dumb``.
tqdm draws it, which fits it to the width of the terminal. The time left is our own estimate, because tqdm's knows
neither that parts of a work differ nor that time goes by while one of them lasts.
The work itself prints nothing: it reports through a callable.
"""

from __future__ import annotations

import contextlib
import os
import re
import sys
import threading
import time
from typing import TYPE_CHECKING, Any, Self, TextIO

from assistant.printing import in_line, unescaped

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

_FIRST_S, _EVERY_S = 1.0, 0.25
"""When the bar is drawn first, and how often after that, s."""

_TRUST_S = 0.5
"""For so long, s, the weights count like work that was done at the speed of the machine where they were measured."""

_SLOWEST = 4.0
"""The largest slowness that is presumed: a program that waited for somebody before its work was not slow."""

_LEAST_S = 0.05
"""From so much processor time, s, a slowness can be told."""

_STARTED = time.monotonic(), time.process_time()
"""When the program began (this module is loaded with it): the clock, and its processor time, s."""

_OF = re.compile(r"(\d+(?:\.\d+)?) of (\d+(?:\.\d+)?)")


class Estimate:
    """The share of a work that is done, and the time that it still takes.

    Args:
        parts: Weight of each part, in order. If `known`, it is the time in s on the machine where it was measured.
        known: Whether the weights are times; else nothing is estimated before something was done.
        begun: When it began, s on the clock of all times that follow.
        slowness: How many times slower than where it was measured the work is presumed to be until it shows itself.
    """

    def __init__(
        self, parts: Mapping[str, float], *, known: bool, begun: float = 0.0, slowness: float = 1.0
    ) -> None:
        self._begun = begun
        self._parts = dict(parts)
        self._whole = sum(self._parts.values())
        self._trust = _TRUST_S if known else 0.0
        self._trusted_s = self._trust * slowness
        self._longest = 0.0
        self._before, self._until = 0.0, next(iter(self._parts.values()))
        self._told, self._done, self._at, self._end = 0.0, 0.0, 0.0, 0.0

    def begin(self, part: str, at: float) -> None:
        """A part begins at this time, s; all parts before it are done."""
        before = 0.0
        for name, weight in self._parts.items():
            if name == part:
                self._before, self._until = before, before + weight
                break
            before += weight
        self.report(0, 1, at, 1)

    def report(self, done: float, of: float, at: float, ahead: float = 0.0) -> None:
        """So much of the present part is done at this time, s; never less than before.

        `ahead`, of the same total, is being worked on now. Without it, as much as ever came in one report.
        What was presumed done of it stays so: of two pieces that are done at once, one is reported first.
        """
        presumed = self._now(at)
        share = min(max(done / of, 0.0), 1.0) if of > 0 else 1.0
        part = self._until - self._before
        told = max(self._told, self._before + share * part)
        if ahead > 0 < of:
            ahead = part * ahead / of
        elif self._told > self._before:
            ahead = self._longest = max(self._longest, told - self._told)
        else:
            ahead = self._longest = told - self._before
        self._end = max(min(self._until, told + ahead), told)
        self._told, self._done = told, max(told, min(presumed, self._end))
        self._at = at - self._begun

    def _now(self, at: float) -> float:
        """The weight that is done: what was reported, and since then as quickly, up to what is worked on."""
        at -= self._begun
        speed = (self._done + self._trust) / max(self._at + self._trusted_s, 1e-9)
        now = self._done + speed * max(at - self._at, 0.0)
        return max(min(now, self._end), self._done) if self._done or self._trust else 0.0

    def share(self, at: float) -> float:
        """The share that is done, 0 to 1."""
        return min(self._now(at) / self._whole, 1.0) if self._whole else 1.0

    def left(self, at: float) -> float | None:
        """The time left, s; None while nothing is known."""
        now = self._now(at)
        if now + self._trust <= 0:
            return None
        return max(self._whole - now, 0.0) * (at - self._begun + self._trusted_s) / (now + self._trust)


def spoken(seconds: float | None) -> str:
    """A time for the bar, such as ``45 s``, ``12 min``, ``1 h 05 min``; ``?`` if it is not known."""
    if seconds is None:
        return "?"
    if seconds < 99.5:
        return f"{max(round(seconds), 1)} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


def slowness(clock_s: float, processor_s: float) -> float:
    """How many times slower than alone on its machine a work is presumed to be: as the program was so far.

    Args:
        clock_s: Time since the program began.
        processor_s: Processor time that it got in it, on one core.
    """
    if processor_s < _LEAST_S:
        return 1.0
    return min(max(clock_s / processor_s, 1.0), _SLOWEST)


def on_a_terminal() -> bool:
    """Whether a line of standard error can be drawn again."""
    return sys.stderr is not None and sys.stderr.isatty() and os.environ.get("TERM") != "dumb"


class TimeLeft:
    """A bar while its ``with`` block lasts; the line is empty again after it, however it ends.

    Args:
        what: The work in a word or two, such as "Proving".
        parts: The weight of each part, in order, where the work has parts that differ.
        known: Whether the weights are times in s, as measured on some machine.
    """

    def __init__(self, what: str, parts: Mapping[str, float] | None = None, *, known: bool = False) -> None:
        self._what = what
        self._begun = time.monotonic()
        slow = slowness(self._begun - _STARTED[0], time.process_time() - _STARTED[1])
        self._estimate = Estimate(parts or {what: 1.0}, known=known, slowness=slow)
        self._ended = threading.Event()
        self._thread: threading.Thread | None = None
        self._line = threading.Lock()
        self._bar: Any = None

    def __enter__(self) -> Self:
        if on_a_terminal():
            self._stream = unescaped(sys.stderr)  # the work may lay its own errors aside meanwhile
            self._thread = threading.Thread(target=self._draw, name="time left", daemon=True)
            self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.end()

    def end(self) -> None:
        """Clear the line; safe to call twice."""
        self._ended.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = self._bar = None

    def part(self, name: str) -> Callable[..., None]:
        """Begin a part; what it reports counts for it, as in `show`."""
        self._estimate.begin(name, self._elapsed())
        return self.show

    def show(self, done: float, of: float, ahead: float = 0.0) -> None:
        """So much of the present part is done, and so much is being worked on now (0: as usual)."""
        self._estimate.report(done, of, self._elapsed(), ahead)

    @contextlib.contextmanager
    def aside(self) -> Iterator[None]:
        """Write to the same terminal meanwhile: the bar makes room, and comes back below."""
        with self._line:
            if self._bar is not None:
                self._bar.clear()
            yield

    def _again(self) -> None:
        """Another work begins, of which nothing is known."""
        self._estimate = Estimate({self._what: 1.0}, known=False, begun=self._elapsed())

    def _elapsed(self) -> float:
        return time.monotonic() - self._begun

    def _draw(self) -> None:
        """Draw until the work has ended; its own thread, because a part may last long without a report."""
        if self._ended.wait(_FIRST_S):
            return
        with contextlib.suppress(OSError, ValueError):  # the terminal was closed: nobody looks at it any more
            at = self._elapsed()
            with self._line:
                self._bar = _bar(self._what, self._times(at), self._stream)
            with self._bar as bar:
                estimate = self._estimate
                while not self._ended.wait(_EVERY_S):
                    at = self._elapsed()
                    bar.n = max(bar.n if estimate is self._estimate else 0.0, self._estimate.share(at))
                    estimate = self._estimate
                    bar.desc = self._what
                    bar.postfix = self._times(at)
                    with self._line:
                        bar.refresh()

    def _times(self, at: float) -> str:
        return f"{spoken(at)}, {spoken(self._estimate.left(at))} left"


def _bar(what: str, times: str, stream: TextIO) -> Any:
    """A bar of tqdm; nothing of it asks for locks between processes or starts its own thread."""
    from tqdm.std import tqdm  # noqa: PLC0415  0.1 s, and only a terminal needs it

    tqdm.set_lock(threading.RLock())
    tqdm.monitor_interval = 0
    return tqdm(
        desc=what,
        postfix=times,
        total=1.0,
        file=stream,
        leave=False,
        dynamic_ncols=True,
        ascii=".#",
        bar_format="{desc} [{bar}] {percentage:.0f} %{postfix}",
    )


class ToldTime(TimeLeft):
    """The same for work that tells what it does in words: on a terminal a bar, elsewhere a line for each new thing.

    A text is ``THING`` or ``THING: 3 of 7``. Where `parts` are given, a text begins with the name of its part.
    Elsewhere a count that starts over begins another work, and the bar then shows the time left of that.
    """

    def __init__(self, what: str, parts: Mapping[str, float] | None = None, *, known: bool = False) -> None:
        super().__init__(what, parts, known=known)
        self._named = dict(parts or {})
        self._part = ""
        self._last = ""
        self._share = 0.0
        self._lines = not (sys.stderr is not None and sys.stderr.isatty())

    def tell(self, text: str) -> None:
        """Tell what is being done now."""
        thing = text.partition(":")[0]
        if self._lines and thing != self._last:
            print(thing, file=sys.stderr, flush=True)
        self._last = thing
        part = next((name for name in self._named if text.startswith(name)), "")
        if part and part != self._part:
            self._part = part
            self.part(part)
        counted = _OF.search(text)
        if counted:
            done, of = float(counted[1]) - self._behind(text), float(counted[2])
            if not self._named and done / max(of, 1.0) < self._share:
                self._again()
            self._share = done / max(of, 1.0)
            self.show(done, of)
        self._what = in_line(thing[:1].upper() + thing[1:])

    @staticmethod
    def _behind(text: str) -> int:
        """1 where the number is that of the piece that begins now, 0 where it counts what is done."""
        return 0 if "done" in text or "hours" in text else 1
