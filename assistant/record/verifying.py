"""Checking that a session is still what was recorded."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.errors import RecordProblem
from assistant.record.header import CLIPS, HEADER_FILE, PROCEDURES, SEAL_FILE, TORN_FILE
from assistant.record.reading import Scan, Seal, clip_name_is_ours, clips_of, log_names, scan_session
from assistant.record.reviews import scan_reviews, writeup_name
from assistant.record.storage import read_file, read_problem, sha256

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.core.finding import Finding

_FROM_A_COPY = "Take the session from a copy"


def verify(folder: Path) -> list[Finding]:
    """Everything that is wrong with a session: chain, clips, copied procedures, seal, reviews.

    An open session can lose whole lines from its end without a trace; a sealed one cannot.

    Returns:
        The findings; none when the session is what was recorded.

    Raises:
        RecordProblem: The folder is not a session, or may not be read.
    """
    scan = scan_session(folder)
    for name, tail in scan.tails.items():
        scan.report(
            name,
            next(file.lines for file in scan.logs if file.name == name) + 1,
            f"the last line is cut short after {len(tail)} bytes",
            "Resume the session: the piece is set aside and nothing before it is lost",
        )
    _check_clips(scan)
    _check_procedures(scan)
    if scan.seal is not None:
        _check_seal(scan, scan.seal)
    _check_reviews(scan)
    return scan.findings


def _check_clips(scan: Scan) -> None:
    for line in scan.lines:
        for clip in clips_of(line.event):
            named = f"line {line.row} of {line.file} names it"
            if not clip_name_is_ours(clip.file):
                scan.report(line.file, line.row, f"{clip.file!r} is not the name of a clip", _FROM_A_COPY)
            elif not (scan.folder / clip.file).is_file():
                scan.report(clip.file, 0, f"the clip is missing; {named}", _FROM_A_COPY)
            else:
                _compare(
                    scan, clip.file, clip.sha256, f"the clip is not the sound that was recorded; {named}"
                )


def _check_procedures(scan: Scan) -> None:
    if scan.header is None:
        return
    folder = scan.folder / PROCEDURES
    try:
        present = {path.name for path in folder.iterdir()} if folder.is_dir() else set()
    except OSError as error:
        raise read_problem(error, folder) from error
    for name, checksum in scan.header.procedures.items():
        if name in present:
            _compare(scan, f"{PROCEDURES}/{name}", checksum, "the copied procedure was altered")
        else:
            scan.report(f"{PROCEDURES}/{name}", 0, "the copied procedure is missing", _FROM_A_COPY)
    for name in sorted(present - set(scan.header.procedures)):
        scan.report(f"{PROCEDURES}/{name}", 0, "this file was put in after the session began", "Take it out")


def _check_seal(scan: Scan, seal: Seal) -> None:
    present = {HEADER_FILE, *log_names(scan.folder)}
    present |= {path.name for path in scan.folder.glob(f"{TORN_FILE}*")}
    present |= {f"{CLIPS}/{path.name}" for path in (scan.folder / CLIPS).glob("*.flac")}
    already = {finding.path for finding in scan.findings}
    for name, checksum in seal.files.items():
        if name not in present:
            if name not in already:
                scan.report(name, 0, "the session was sealed with this file, which is missing", _FROM_A_COPY)
        elif name not in already:
            _compare(scan, name, checksum, "this file was altered after the session was sealed")
    for name in sorted(present - set(seal.files)):
        scan.report(name, 0, "this file was put in after the session was sealed", "Take it out")
    if not set(seal.files) >= {HEADER_FILE}:
        scan.report(SEAL_FILE, 0, f"the seal does not name {HEADER_FILE}", _FROM_A_COPY)


def _check_reviews(scan: Scan) -> None:
    reviews, finding = scan_reviews(scan.folder)
    if finding is not None:
        scan.findings.append(finding)
    for review in reviews:
        if review.signed:
            what = f"this is not the write-up that review {review.number} signed"
            _compare(scan, writeup_name(review.number), review.signed.writeup, what)


def _compare(scan: Scan, name: str, checksum: str, problem: str) -> None:
    try:
        same = sha256(read_file(scan.folder / name)) == checksum
    except RecordProblem as error:
        scan.report(name, 0, str(error).rstrip("."))
        return
    if not same:
        scan.report(name, 0, problem, _FROM_A_COPY)
