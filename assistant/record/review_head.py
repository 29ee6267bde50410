"""The head of a session's reviews: their number, and the checksum of the last one.

It stands in ``reviews-head.json``, one line of JSON under its own checksum.
Sealing a session writes it for no reviews, and each review writes it anew; the seal says that it exists.
So removed or truncated reviews are noticed, and so is a missing head.
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from assistant.core.values.finding import Finding
from assistant.errors import RecordBroken, RecordProblem
from assistant.record.contents import read_inside
from assistant.record.header import REVIEWS_FILE, REVIEWS_HEAD_FILE, SEAL_FILE
from assistant.record.storage import canonical, sha256, write_file

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

_FROM_A_COPY = "Take the session from a copy"
_LARGEST = 4096


@dataclass(frozen=True)
class Head:
    """The head.

    Attributes:
        reviews: Number of reviews; 0 while the first one is being written.
        last: SHA-256 of the line of the last one, or of ``seal.json``.
        record: SHA-256 of ``seal.json``.
    """

    reviews: int
    last: str
    record: str


def write(folder: Path, head: Head) -> None:
    """Write the head of a session's reviews.

    Raises:
        RecordProblem: It cannot be written.
    """
    body = asdict(head)
    write_file(folder / REVIEWS_HEAD_FILE, canonical({**body, "sha256": sha256(canonical(body))}))


def write_seal(folder: Path, seal: bytes) -> None:
    """Seal a session without reviews: the head comes first, so that the seal never names a missing one.

    Raises:
        RecordProblem: It cannot be written; the session stays open.
    """
    write(folder, Head(0, sha256(seal), sha256(seal)))
    write_file(folder / SEAL_FILE, seal)


def named_by(seal: bytes) -> bool:
    """Whether a seal says that a head exists; the first versions wrote none."""
    try:
        body = json.loads(seal)
    except (ValueError, RecursionError):
        return False  # the seal's own check says so
    return isinstance(body, dict) and "head" in body


def counts_any(folder: Path) -> bool:
    """Whether the head counts a review, or cannot be read, which needs a closer look."""
    try:
        head = read(folder)
    except RecordProblem:
        return True
    return head is not None and head.reviews > 0


def read(folder: Path) -> Head | None:
    """The head of a session's reviews; None if there is none.

    Raises:
        RecordProblem: It may not be read.
        RecordBroken: It is not what was written.
    """
    if not os.path.lexists(folder / REVIEWS_HEAD_FILE):
        return None
    data = read_inside(folder, REVIEWS_HEAD_FILE, _LARGEST)
    try:
        body = json.loads(data)
        own = body.pop("sha256")
        head = Head(**body)
        whole = own == sha256(canonical(body)) and canonical({**body, "sha256": own}) == data
        kinds = (type(head.reviews), type(head.last), type(head.record)) == (int, str, str)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        whole = kinds = False
    if not whole or not kinds or head.reviews < 0:
        raise RecordBroken(f"{REVIEWS_HEAD_FILE} is not what was written.")
    return head


def check(folder: Path, seal: str, reviews: Sequence[str], *, named: bool) -> Finding | None:
    """A finding about the reviews by their head; None if all is well.

    One review more than the head counts is intact: the program was stopped before it counted it.

    Args:
        folder: The session.
        seal: SHA-256 of ``seal.json``.
        reviews: SHA-256 of the line of each review, in order.
        named: Whether the seal or a review says that there is a head.

    Raises:
        RecordProblem: The head may not be read.
    """
    try:
        head = read(folder)
    except RecordBroken as broken:
        return Finding(REVIEWS_HEAD_FILE, 0, str(broken).rstrip("."), _FROM_A_COPY)
    if head is None:
        problem = "the seal or a review says that this file stands beside it, and it is missing"
        return Finding(REVIEWS_HEAD_FILE, 0, problem, _FROM_A_COPY) if named else None
    there = len(reviews)
    if head.reviews > there:
        problem = f"{_count(head.reviews)} written, and {f'only {there} are' if there else 'none is'} left"
        return Finding(REVIEWS_FILE, there + 1 if there else 0, problem, _FROM_A_COPY)
    if there > head.reviews + 1:
        problem = f"{_count(head.reviews)} written, and {there} are here: a line was put in"
        return Finding(REVIEWS_FILE, head.reviews + 1, problem, _FROM_A_COPY)
    if head.record != seal or head.last != [seal, *reviews][head.reviews]:
        before = f"line {head.reviews} of {REVIEWS_FILE}" if head.record == seal else SEAL_FILE
        problem = f"this does not fit {before}: one of the two was altered"
        return Finding(REVIEWS_HEAD_FILE, 0, problem, _FROM_A_COPY)
    return None


def uncounted(folder: Path, reviews: int) -> bool:
    """Whether the head does not count the last of these intact reviews, because the program was stopped.

    Raises:
        RecordProblem: The head may not be read.
    """
    head = read(folder)
    return head is not None and head.reviews < reviews


def _count(reviews: int) -> str:
    return f"{reviews} review{' was' if reviews == 1 else 's were'}"
