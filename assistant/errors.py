"""Errors, told to the person who can put them right.

Every error that leaves this package is a `BayAssistantError`.
Its text is one or two plain sentences that say what is wrong and what would be right.
The command line prints the text and exits with `exit_code`; no traceback reaches a technician.
"""

from __future__ import annotations

from pathlib import Path

from assistant.printing import escaped

MALFORMED = (ValueError, TypeError, LookupError, AttributeError, ArithmeticError, RecursionError, OSError)
"""Exceptions from reading malformed data: wrong types, missing parts, absurd numbers."""


_LONGEST_PROBLEM = 1000
"""Number of characters of a file's problem that a message shows."""


class BayAssistantError(Exception):
    """Base of all errors that are written for a person to read."""

    exit_code = 2


class FileProblem(BayAssistantError):
    """A procedure, caution or grammar file is wrong; the text starts with ``file:line:``.

    Args:
        path: The file at fault.
        line: Line in the file, counted from 1; 0 for the whole file.
        problem: The mistake, as a sentence without its full stop.
        remedy: The cure, as a sentence without its full stop.
    """

    def __init__(self, path: Path | str, line: int, problem: str, remedy: str = "") -> None:
        if len(problem) > _LONGEST_PROBLEM:  # it quotes the file
            problem = f"{problem[: _LONGEST_PROBLEM // 2]} … {problem[-_LONGEST_PROBLEM // 2 :]}"
        self.path = Path(path)
        self.line = line
        self.problem = problem
        self.remedy = remedy
        place = f"{path}:{line}" if line else f"{path}"
        super().__init__(escaped(f"{place}: {problem}." + (f" {remedy}." if remedy else "")))


class UsageProblem(BayAssistantError):
    """The command names something that does not exist or does not fit."""


class GearProblem(BayAssistantError):
    """Microphone, loudspeaker, voice or terminal cannot be used; the message says what to plug in or install."""


class ModelProblem(GearProblem):
    """The recogniser's model is missing, incomplete, laid out differently, or lacks a needed word."""


class RecordProblem(BayAssistantError):
    """A session cannot be written or read."""


class DiskNearlyFull(RecordProblem):
    """Everything so far is on the disk, but little more will fit."""


class RecordBroken(RecordProblem):
    """A session on the disk is not what was written: it was cut short or altered (a finding)."""

    exit_code = 1
