"""Lines beside a sealed record: each with its number, its own SHA-256, and that of the line or seal before it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from assistant.errors import MALFORMED
from assistant.record.header import SEAL_FILE
from assistant.record.storage import canonical, sha256

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from assistant.core.values.finding import Finding


class Chained(Protocol):
    """What such a line holds besides its contents."""

    @property
    def number(self) -> int:
        """1, 2, 3 … in its file."""

    @property
    def previous(self) -> str:
        """The SHA-256 of the line before it with its newline, or of the seal."""

    def to_json(self) -> dict[str, Any]:
        """The line without its own checksum."""


_Line = TypeVar("_Line", bound=Chained)


def row_of(one: Chained) -> bytes:
    """The line with its own checksum, so that an altered last line shows, too."""
    body = one.to_json()
    return canonical({**body, "sha256": sha256(canonical(body))})


def parse_row(row: bytes, made: Callable[[Any], _Line], absent: Mapping[str, Any] | None = None) -> _Line:
    """What one line holds.

    Args:
        row: The line with its newline.
        made: Makes it of the line without its own checksum.
        absent: Keys that earlier versions did not write, with what counts in their place.

    Raises:
        ValueError, TypeError, KeyError, AttributeError, RecursionError: It is not a line that this program writes.
    """
    body = json.loads(row)
    own = body.pop("sha256", "")
    one = made(body)
    same = {**(absent or {}), **body} == json.loads(canonical(one.to_json()))
    if not same or canonical({**body, "sha256": own}) != row:
        raise ValueError("it is not written as the program writes it")
    if own != sha256(canonical(body)):
        raise ValueError("it does not fit its own checksum")
    return one


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
