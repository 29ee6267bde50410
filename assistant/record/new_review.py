"""Adds a review to a sealed and intact session; `assistant.record.reviews` describes reviews."""

from __future__ import annotations

import dataclasses
import os
from typing import TYPE_CHECKING

from assistant.errors import RecordProblem, UsageProblem
from assistant.record import review_head
from assistant.record.chained import row_of
from assistant.record.contents import PHOTO, look, read_inside
from assistant.record.header import REVIEWS_FILE, REVIEWS_HEAD_FILE, SEAL_FILE
from assistant.record.laying import take_lock, tidy
from assistant.record.log import local_now
from assistant.record.photos import MOST
from assistant.record.reviews import (
    NO_DETAILS,
    CheckedNote,
    Details,
    Labour,
    Part,
    Photo,
    Review,
    Signature,
    parse_review,
    read_reviews,
    writeup_name,
)
from assistant.record.scanning import check_folder
from assistant.record.storage import sha256, write_file, write_problem

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime
    from pathlib import Path

    from assistant.record.photos import NewPhoto


def add_review(
    folder: Path,
    *,
    reviewer: str = "",
    done: str = "",
    found: tuple[str, ...] = (),
    parts: tuple[Part, ...] = (),
    labour: tuple[Labour, ...] = (),
    remarks: str = "",
    codes: tuple[str, ...] = (),
    location: str = "",
    vin: str = "",
    photos: tuple[NewPhoto, ...] = (),
    notes: tuple[CheckedNote, ...] = (),
    sign: str | None = None,
    now: Callable[[], datetime] = local_now,
) -> Review:
    """Write one more review after the existing ones.

    Args:
        folder: A sealed session.
        reviewer: Name of the reviewer.
        done: The work that was done, in words.
        found: Names of the faults that proved true; the caller has looked them up.
        parts: Parts that were used.
        labour: Labor that is charged.
        remarks: Anything else.
        codes: Trouble codes.
        location: Place of the failure.
        vin: The vehicle identification number; the caller has checked it.
        photos: Photos to keep with it.
        notes: Words of voice notes that the reviewer listened to.
        sign: The write-up that the reviewer saw and signs with the name `reviewer`; None leaves it unsigned.
        now: The clock.

    Raises:
        UsageProblem: It would be signed without a name, has too many photos, or is empty.
        RecordProblem: The folder is not a session, is not sealed, is in use, or cannot be written.
        RecordBroken: The record or its reviews were altered.
    """
    from assistant.record.verifying import refuse_altered  # noqa: PLC0415  it reads the reviews, too

    check_folder(folder)
    check_reviewable(folder)
    if sign is not None and not reviewer.strip():
        raise UsageProblem("A review is signed with a name. Give one with --by.")
    details = Details(codes, location, notes=notes, vin=vin)
    if len(photos) > MOST:
        raise UsageProblem(
            f"A review holds at most {MOST} photos, and these are {len(photos)}. Take the best ones."
        )
    if not any((done, found, parts, labour, remarks, details != NO_DETAILS, photos, sign is not None)):
        raise UsageProblem("This review says nothing. Say what was done, what was found, or sign it.")
    lock = take_lock(folder)
    try:
        tidy(folder)
        refuse_altered(folder, "it is not reviewed")
        review = Review(0, now(), reviewer.strip(), done, found, parts, labour, remarks, details=details)
        row = _write(folder, review, sign, photos)
    finally:
        os.close(lock)
    return parse_review(row)


def _write(folder: Path, review: Review, sign: str | None, photos: tuple[NewPhoto, ...]) -> bytes:
    """Write a review after the others; the session is locked and intact.

    The order makes a crash between any two writes harmless.
    First comes the head with the number of reviews before this one (it is missing, or one behind, if there was no
    head yet or an earlier write was interrupted); then come the write-up and the photos, the review, and the head
    that counts it.
    One review more than the head counts is therefore intact, and one less never is.

    Returns:
        The line.

    Raises:
        RecordProblem: It cannot be written.
    """
    earlier = read_reviews(folder)
    before = len(earlier)
    seal = sha256(read_inside(folder, SEAL_FILE))
    kept = read_inside(folder, REVIEWS_FILE) if before else b""
    previous = sha256(kept.splitlines(keepends=True)[-1]) if kept else seal
    number = before + 1
    head = review_head.read(folder)
    if head is None or head.reviews != before:
        review_head.write(folder, review_head.Head(before, previous, seal))
    signature = None
    if sign is not None:
        text = sign.encode("utf-8", "backslashreplace")
        write_file(folder / writeup_name(number), text)
        signature = Signature(review.reviewer, review.time, seal, sha256(text))
    else:
        _remove(folder / writeup_name(number))  # left by an interrupted signing
    kept_photos = _keep_photos(folder, sum(len(one.details.photos) for one in earlier), photos)
    row = row_of(
        dataclasses.replace(
            review,
            number=number,
            signed=signature,
            previous=previous,
            head=REVIEWS_HEAD_FILE,
            details=dataclasses.replace(review.details, photos=kept_photos),
        )
    )
    write_file(folder / REVIEWS_FILE, kept + row)
    review_head.write(folder, review_head.Head(number, sha256(row), seal))
    return row


def _keep_photos(folder: Path, before: int, photos: tuple[NewPhoto, ...]) -> tuple[Photo, ...]:
    """Copy photos into the session, numbered after those of earlier reviews; what a stopped review left is removed."""
    for name in look(folder).files:
        left = PHOTO.fullmatch(name)
        if left is not None and int(left[1]) > before:
            _remove(folder / name)
    kept = []
    for number, one in enumerate(photos, start=before + 1):
        name = f"photo-{number}.{one.suffix}"
        write_file(folder / name, one.data)
        kept.append(Photo(name, sha256(one.data), one.caption))
    return tuple(kept)


def _remove(path: Path) -> None:
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise write_problem(error, path) from error


def check_reviewable(folder: Path, what: str = "a review", then: str = "review it") -> None:
    """Check that a session is over, so that something can be written beside its record.

    Args:
        folder: The session.
        what: What would be written.
        then: What to do with the session when it is closed.

    Raises:
        RecordProblem: It is not sealed.
    """
    if not (folder / SEAL_FILE).is_file():
        raise RecordProblem(
            f"The session {folder.name} is not sealed: it can still go on, and {what} would not fit it any more. "
            f"Go on with 'bay-assistant run --resume {folder.name}', close the session, and {then} then."
        )
