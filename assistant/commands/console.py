"""The output of commands: a result on standard output; remarks and errors on standard error."""

from __future__ import annotations

import contextlib
import json
import math
import sys
from typing import TYPE_CHECKING, Any

from assistant.errors import UsageProblem
from assistant.printing import in_line
from assistant.resources import refuse_installed

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assistant.core.values.finding import Finding

_LONGEST = 2000
"""Number of characters of an error to show."""


def at_a_terminal() -> bool:
    """Whether somebody can be asked: both input and output are a terminal."""
    return all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stdout))


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
