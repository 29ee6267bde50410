"""What can be wrong, said to the person who can mend it.

Every error that leaves this package is a `BayAssistantError`.
Its text is one or two plain sentences: what is at fault and what would be right.
The command line prints the text and exits with `exit_code`; no traceback reaches a technician.
"""

from __future__ import annotations

from pathlib import Path

from assistant.printing import escaped

MALFORMED = (ValueError, TypeError, LookupError, AttributeError, ArithmeticError, RecursionError, OSError)
"""What reading of data raises that has another shape than it should: wrong types, missing parts, absurd numbers."""


_LONGEST_PROBLEM = 1000
"""Signs of what is wrong in a file that are shown."""


class BayAssistantError(Exception):
    """Base of all errors that are meant to be read by a person."""

    exit_code = 2


class FileProblem(BayAssistantError):
    """A procedure, caution or grammar file is wrong; the text starts with ``file:line:``.

    Args:
        path: The file at fault.
        line: Line in the file, counted from 1; 0 when the whole file is meant.
        problem: What is wrong, as a sentence without its full stop.
        remedy: What would be right, as a sentence without its full stop.
    """

    def __init__(self, path: Path | str, line: int, problem: str, remedy: str = "") -> None:
        if len(problem) > _LONGEST_PROBLEM:  # it repeats what stands in the file
            problem = f"{problem[: _LONGEST_PROBLEM // 2]} … {problem[-_LONGEST_PROBLEM // 2 :]}"
        self.path = Path(path)
        self.line = line
        self.problem = problem
        self.remedy = remedy
        place = f"{path}:{line}" if line else f"{path}"
        super().__init__(escaped(f"{place}: {problem}." + (f" {remedy}." if remedy else "")))


class UsageProblem(BayAssistantError):
    """The command was called with something that does not exist or does not fit."""


class GearProblem(BayAssistantError):
    """Microphone, loudspeaker, voice or terminal cannot be used; says what to plug in or install."""


class ModelProblem(GearProblem):
    """The recogniser's model is missing, incomplete, of another layout, or lacks a needed word."""


class RecordProblem(BayAssistantError):
    """A session cannot be written or read."""


class DiskNearlyFull(RecordProblem):
    """What was said is on the disk, and little more will be."""


class RecordBroken(RecordProblem):
    """A session was read but is not what was written: cut short or altered (a finding)."""

    exit_code = 1
