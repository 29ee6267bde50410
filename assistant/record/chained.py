"""Lines beside a sealed record: each holds its number and the SHA-256 of the one before, the first that of the seal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, TypeVar

from assistant.errors import MALFORMED
from assistant.record.header import SEAL_FILE
from assistant.record.storage import sha256

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.core.values.finding import Finding


class Chained(Protocol):
    """What such a line holds besides its contents."""

    @property
    def number(self) -> int:
        """1, 2, 3 … in its file."""

    @property
    def previous(self) -> str:
        """The SHA-256 of the line before it with its newline, or of the seal."""


_Line = TypeVar("_Line", bound=Chained)


def follow(
    data: bytes, seal: str, parse: Callable[[bytes], _Line], faulty: Callable[[int, str], Finding]
) -> tuple[tuple[_Line, ...], Finding | None]:
    """The lines up to the first faulty one, and a finding about that; None if there is none.

    Args:
        data: Contents of the file.
        seal: SHA-256 of the seal.
        parse: Reads a line with its newline; raises one of `MALFORMED` if it cannot.
        faulty: Makes the finding about a line from its number and what is wrong.
    """
    found: list[_Line] = []
    previous = seal
    *rows, rest = data.split(b"\n")
    for number, row in enumerate(rows, start=1):
        try:
            one = parse(row + b"\n")
        except MALFORMED as error:
            return tuple(found), faulty(number, f"this line cannot be understood: {error}")
        if one.number != number:
            problem = f"this line is numbered {one.number}: a line was put in or taken out"
            return tuple(found), faulty(number, problem)
        if one.previous != previous:
            before = f"line {number - 1}" if number > 1 else SEAL_FILE
            problem = f"this line does not follow on {before}: one of the two was altered"
            return tuple(found), faulty(number, problem)
        found.append(one)
        previous = sha256(row + b"\n")
    if rest or not rows:
        return tuple(found), faulty(len(rows) + 1, "this line is cut short")
    return tuple(found), None
