"""The output of commands: a result on standard output; remarks, progress and errors on standard error."""

from __future__ import annotations

import contextlib
import json
import math
import sys
import time
from typing import TYPE_CHECKING, Any, Self

from assistant.errors import UsageProblem
from assistant.printing import in_line, unescaped
from assistant.resources import refuse_installed

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assistant.core.values.finding import Finding

_LONGEST = 2000
"""Number of characters of an error to show."""

_CLEAR = "\r\x1b[K"
"""Empties the line of a terminal."""


class _Changing:
    """A line on standard error, on a terminal, that changes during some work and is cleared at its end."""

    def __init__(self) -> None:
        self._terminal = sys.stderr is not None and sys.stderr.isatty()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.end()

    def end(self) -> None:
        """Clear the line."""
        if self._terminal:
            self._print("")

    def _print(self, text: str) -> None:
        print(f"{_CLEAR}{text}", end="", file=unescaped(sys.stderr), flush=True)


class ProgressBar(_Changing):
    """A progress bar, only on a terminal, that appears if the work takes more than a second.

    Args:
        what: The work in a word, such as "Proving".
    """

    _WIDTH = 30

    def __init__(self, what: str) -> None:
        super().__init__()
        self._what = what
        self._began = time.monotonic()
        self._shown = False

    def show(self, done: int, of: int) -> None:
        """Show the progress."""
        if not self._terminal or time.monotonic() - self._began < 1:
            return
        full = self._WIDTH * done // of
        bar = "#" * full + "." * (self._WIDTH - full)
        self._print(f"{self._what} [{bar}] {100 * done // of} %")
        self._shown = True

    def end(self) -> None:
        """Clear the line, if it was shown."""
        if self._shown:
            super().end()


class ProgressLine(_Changing):
    """The current work: on a terminal one changing line, elsewhere a line for each new piece of work."""

    def __init__(self) -> None:
        super().__init__()
        self._last = ""

    def tell(self, text: str) -> None:
        """Show a text: the work stands before its colon, and the progress after it."""
        thing = text.partition(":")[0]
        if self._terminal:
            self._print(in_line(text))
        elif thing != self._last:
            print(thing, file=sys.stderr, flush=True)
        self._last = thing


def complain(text: str) -> None:
    """Print an error on one line of standard error; a very long text loses its middle."""
    if len(text) > _LONGEST:  # it quotes input
        text = f"{text[: _LONGEST // 2]} … {text[-_LONGEST // 2 :]}"
    with contextlib.suppress(OSError, ValueError):  # standard error may be closed; the exit status is left
        print(f"bay-assistant: {in_line(text)}", file=sys.stderr)


def remark(text: str) -> None:
    """Print a remark beside the result, on a line of standard error."""
    with contextlib.suppress(OSError, ValueError):
        print(in_line(text), file=sys.stderr, flush=True)


def written(path: Path | str) -> None:
    """Say which file or folder holds what was asked for."""
    remark(f"Written: {path}")


def print_json(result: Any) -> None:
    """Print a result as the one JSON document of ``--json``; a figure that is no number (NaN) is null."""
    print(json.dumps(_finite(result), indent=2, allow_nan=False))


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(one) for one in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def write(path: Path, text: str) -> None:
    """Write a result to the named file, and say so on standard error.

    Raises:
        UsageProblem: It cannot be written, or belongs to the installed program.
    """
    refuse_installed(path)
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise UsageProblem(f"{path} cannot be written: {error.strerror}.") from error
    written(path)


def report(findings: Sequence[Finding], good: str, *, as_json: bool) -> int:
    """Print findings, or the good news that there are none; returns the exit status 1 or 0."""
    if as_json:
        print_json(
            [{"path": f.path, "line": f.line, "problem": f.problem, "remedy": f.remedy} for f in findings]
        )
    elif findings:
        for finding in findings:
            print(in_line(str(finding)))
    else:
        print(in_line(good))
    return 1 if findings else 0
