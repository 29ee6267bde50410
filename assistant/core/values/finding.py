"""A finding of a check, for a person to read and a program to count."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Finding:
    """Something that is not as it should be.

    Attributes:
        path: File at fault, as a person would name it.
        line: Line in the file, counted from 1; 0 when the whole file is meant.
        problem: The mistake, as a sentence without its full stop.
        remedy: The cure, as a sentence without its full stop; "" if there is none.
    """

    path: str
    line: int
    problem: str
    remedy: str = ""

    def __str__(self) -> str:
        place = f"{self.path}:{self.line}" if self.line else self.path
        return f"{place}: {self.problem}." + (f" {self.remedy}." if self.remedy else "")
