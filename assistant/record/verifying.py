"""Checking that a session is still what was recorded, and that nothing else is in its folder.

``write-up.txt`` and ``write-up.html`` are under no checksum: they are made anew from the record at any time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.errors import RecordBroken, RecordProblem
from assistant.record import review_head, transcripts
from assistant.record.contents import LOG, PHOTO, SIGNED_WRITE_UP, TORN, Contents, look, read_inside
from assistant.record.header import CLIPS, HEADER_FILE, PROCEDURES, REVIEWS_FILE, SEAL_FILE
from assistant.record.photos import MOST
from assistant.record.reading import read_session
from assistant.record.recorded import Seal, clip_name_is_ours, clips_of, repeated_sentence
from assistant.record.reviews import read_reviews, scan_reviews, writeup_name
from assistant.record.scanning import Scan, check_folder, scan_session
from assistant.record.storage import sha256

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assistant.core.values.finding import Finding

_READING = 0.7
"""Share of the time of checking a long session that reading its lines takes; chosen, and only for the time left."""

_FROM_A_COPY = "Take the session from a copy"


def refuse_altered(folder: Path, consequence: str) -> None:
    """Refuse a session that is not what was recorded.

    Args:
        folder: The session.
        consequence: What is not done with it, such as "it is not packed".

    Raises:
        RecordBroken: It was altered; names the first finding.
        RecordProblem: As for `verify`.
    """
    findings = verify(folder)
    if findings:
        raise RecordBroken(
            f"The session {folder.name} is not what was recorded, so {consequence}. {findings[0]} "
            f"'bay-assistant verify {folder}' lists everything that is wrong."
        )


def verify(
    folder: Path, progress: Callable[[float, float], None] = lambda _done, _all: None
) -> list[Finding]:
    """Everything that is wrong with a session: chain, clips, procedures, seal, reviews, transcripts; links and strays.

    No link in it is followed.
    If header, log, seal or reviews are not files, it reports only that, because everything else rests on them.
    An open session can lose whole lines from its end without a trace; a sealed one cannot.

    Args:
        folder: The session.
        progress: Called with (done, total) of the work.

    Returns:
        The findings; none if the session is what was recorded.

    Raises:
        RecordProblem: The folder is not a session, or may not be read.
    """
    check_folder(folder)
    there = look(folder)
    if there.unreadable():
        return there.findings
    scan = scan_session(folder, lambda done, of: progress(_READING * done, of))
    for name, tail in scan.tails.items():
        scan.report(
            name,
            next(file.lines for file in scan.logs if file.name == name) + 1,
            f"the last line is cut short after {len(tail)} bytes",
            "Resume the session: the piece is set aside and nothing before it is lost",
        )
    _check_clips(scan, there, lambda done, of: progress(_READING + (1 - _READING) * done / of, 1))
    _check_procedures(scan, there)
    if scan.seal is not None:
        _check_seal(scan, scan.seal, there)
    _check_reviews(scan, there)
    scan.findings += transcripts.check(folder, scan.lines)
    return [*scan.findings, *there.findings]


def remarks(folder: Path) -> list[str]:
    """Sentences about the remains of a stopped program in a session in which `verify` finds nothing wrong.

    Raises:
        RecordProblem: The folder may not be read.
    """
    there = look(folder)
    said = [f"{name} was left half written by a program that was stopped." for name in there.left]
    reviews = read_reviews(folder)
    begun = writeup_name(len(reviews) + 1)
    if begun in there.files:
        said.append(f"{begun} was left by a signing that was stopped.")
    named = {photo.file for review in reviews for photo in review.details.photos}
    left = sorted(name for name in there.files - named if PHOTO.fullmatch(name))
    said += [f"{name} was left by a review that was stopped." for name in left]
    if said:
        said.append("It is no part of the record, is not handed over, and can be deleted.")
    if review_head.uncounted(folder, len(reviews)):
        said.append(
            f"Review {len(reviews)} was kept when the program was stopped; the next review counts it."
        )
    repeated = read_session(folder).repeated
    if repeated:
        said.append(repeated_sentence(repeated))
    return said


def _check_clips(scan: Scan, there: Contents, progress: Callable[[float, float], None]) -> None:
    for done, line in enumerate(scan.lines):
        progress(done, len(scan.lines))
        for clip in clips_of(line.event):
            named = f"line {line.row} of {line.file} names it"
            if not clip_name_is_ours(clip.file):
                scan.report(line.file, line.row, f"{clip.file!r} is not the name of a clip", _FROM_A_COPY)
            elif there.odd(clip.file):
                continue  # it is said what stands in its place
            elif clip.file not in there.files:
                scan.report(clip.file, 0, f"the clip is missing; {named}", _FROM_A_COPY)
            else:
                _compare(
                    scan, clip.file, clip.sha256, f"the clip is not the sound that was recorded; {named}"
                )


def _check_procedures(scan: Scan, there: Contents) -> None:
    if scan.header is None:
        return
    begin = f"{PROCEDURES}/"
    present = {name.removeprefix(begin) for name in there.files if name.startswith(begin)}
    for name, checksum in scan.header.procedures.items():
        if name in present:
            _compare(scan, f"{PROCEDURES}/{name}", checksum, "the copied procedure was altered")
        elif not there.odd(f"{PROCEDURES}/{name}"):
            scan.report(f"{PROCEDURES}/{name}", 0, "the copied procedure is missing", _FROM_A_COPY)
    for name in sorted(present - set(scan.header.procedures)):
        scan.report(f"{PROCEDURES}/{name}", 0, "this file was put in after the session began", "Take it out")


def _check_seal(scan: Scan, seal: Seal, there: Contents) -> None:
    present = {
        name
        for name in there.files
        if name == HEADER_FILE or name.startswith(f"{CLIPS}/") or LOG.fullmatch(name) or TORN.fullmatch(name)
    }
    already = {finding.path for finding in scan.findings}
    for name, checksum in seal.files.items():
        if name not in present:
            if name not in already and not there.odd(name):
                scan.report(name, 0, "the session was sealed with this file, which is missing", _FROM_A_COPY)
        elif name not in already:
            _compare(scan, name, checksum, "this file was altered after the session was sealed")
    for name in sorted(present - set(seal.files)):
        scan.report(name, 0, "this file was put in after the session was sealed", "Take it out")
    if not set(seal.files) >= {HEADER_FILE}:
        scan.report(SEAL_FILE, 0, f"the seal does not name {HEADER_FILE}", _FROM_A_COPY)


def _check_reviews(scan: Scan, there: Contents) -> None:
    reviews, finding = scan_reviews(scan.folder)
    if finding is not None:
        scan.findings.append(finding)
    signed = {writeup_name(review.number): review for review in reviews if review.signed}
    for name, review in signed.items():
        if review.signed and not there.odd(name):
            what = f"this is not the write-up that review {review.number} signed"
            _compare(scan, name, review.signed.writeup, what)
    photos = {photo.file: (review.number, photo) for review in reviews for photo in review.details.photos}
    for name, (attached_by, photo) in photos.items():
        if not there.odd(name):
            _compare(scan, name, photo.sha256, f"this is not the photo that review {attached_by} attached")
    if finding is not None:
        return  # which reviews signed something is not known then
    head = review_head.read(scan.folder)
    for name in sorted(there.files - set(signed)):
        number = SIGNED_WRITE_UP.fullmatch(name)
        if number is None or (head is not None and int(number[1]) == len(reviews) + 1 == head.reviews + 1):
            continue  # the second is a signing that was stopped before the review was written
        scan.report(
            name,
            0,
            f"no review signed this write-up: either the review was removed from {REVIEWS_FILE}, or this was put in",
            _FROM_A_COPY,
        )
    begun = head is not None and head.reviews == len(reviews)
    for name in sorted(there.files - set(photos)):
        stray = PHOTO.fullmatch(name)
        if stray is None or (begun and len(photos) < int(stray[1]) <= len(photos) + MOST):
            continue  # the second is of a review that was stopped before it was written
        problem = (
            f"no review attached this photo: either it was removed from {REVIEWS_FILE}, or this was put in"
        )
        scan.report(name, 0, problem, _FROM_A_COPY)


def _compare(scan: Scan, name: str, checksum: str, problem: str) -> None:
    try:
        same = sha256(read_inside(scan.folder, name)) == checksum
    except RecordProblem as error:
        scan.report(name, 0, str(error).rstrip("."))
        return
    if not same:
        scan.report(name, 0, problem, _FROM_A_COPY)
