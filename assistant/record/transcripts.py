"""Transcripts of voice notes: the words that a machine wrote down, beside the sealed record and never in it.

A sealed session folder may hold ``notes.jsonl``, one JSON object a line, written by ``bay-assistant notes``.
Each line is the transcript of one note. It holds the SHA-256 of the note's sound, and the name and SHA-256 of the
model.
The lines are chained to ``seal.json`` as reviews are: each holds the SHA-256 of the line before it, and of its own
other parts. A later transcript of the same note replaces the earlier one in the write-up; nothing is erased.

Nothing counts the lines, so lines that were taken off the end do not show. The sound is still there and can be
transcribed again; what a person says about a note stands in a review, and reviews are counted.

Only the section of the voice notes in the write-up reads this file; results, evidence and verdicts never do.
"""

from __future__ import annotations

import dataclasses
import math
import os
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from assistant.core.values.events import NoteRecorded
from assistant.core.values.finding import Finding
from assistant.errors import RecordBroken
from assistant.record.chained import follow, parse_row, row_of
from assistant.record.contents import read_inside
from assistant.record.header import SEAL_FILE, TRANSCRIPTS_FILE, parse_time
from assistant.record.storage import parse_checksum, sha256, write_file

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from assistant.core.values.events import Clip
    from assistant.record.recorded import Line

LONGEST = 2000
"""Most characters of a segment's words, or of a name: Whisper writes at most 448 tokens, some 1,800 characters."""

MOST = 600
"""Most segments of one note: ten a second of the longest note."""

NOTHING_UNDERSTOOD = "(nothing understood)"
NOT_UNDERSTOOD = "(not understood)"

_LARGEST_FILE = 64 << 20
_FROM_A_COPY = f"Take the session from a copy, or take {TRANSCRIPTS_FILE} out and transcribe the notes again"


@dataclass(frozen=True)
class NoteSegment:
    """A piece of a note, as the model cut it.

    Attributes:
        begin_s: Its beginning in the clip, s.
        end_s: Its end, s.
        words: Its words; "" if what the model wrote was not believed.
        log_probability: Mean natural logarithm of the probability of its tokens.
        no_speech: Probability that nobody speaks in it, 0 to 1.
        compression: How much smaller the words become when compressed; words that repeat themselves have a lot.
    """

    begin_s: float
    end_s: float
    words: str
    log_probability: float
    no_speech: float
    compression: float


@dataclass(frozen=True)
class Transcript:
    """The transcript of one voice note.

    Attributes:
        number: 1, 2, 3 … in the session.
        time: Time of writing, with the offset to UTC.
        clip: File of the note's sound in the session folder.
        sound: SHA-256 of that file.
        model: Name of the model.
        weights: SHA-256 of its weights, the file ``model.bin``.
        program: Name and version of the program that ran it.
        segments: What it wrote; () if nobody speaks in the note.
        previous: SHA-256 of the line before, or of ``seal.json``.
    """

    number: int
    time: datetime
    clip: str
    sound: str
    model: str
    weights: str
    program: str
    segments: tuple[NoteSegment, ...] = ()
    previous: str = ""

    @property
    def words(self) -> str:
        """Its words on one line, with a mark where something was not understood."""
        if not any(one.words for one in self.segments):
            return NOTHING_UNDERSTOOD
        return " ".join(" ".join((one.words or NOT_UNDERSTOOD).split()) for one in self.segments)

    def to_json(self) -> dict[str, Any]:
        """The transcript as JSON; the time is ISO 8601."""
        return {**dataclasses.asdict(self), "time": self.time.isoformat(timespec="milliseconds")}


def read_transcripts(folder: Path) -> tuple[Transcript, ...]:
    """The transcripts of a session, in order; none if nothing was transcribed.

    Raises:
        RecordProblem: The file may not be read.
        RecordBroken: The chain is broken, or this program would not write such a line.
    """
    found, finding = scan_transcripts(folder)
    if finding is not None:
        raise RecordBroken(f"The transcripts of {folder.name} are not what was written. {finding}")
    return found


def latest(transcripts: Iterable[Transcript]) -> dict[str, Transcript]:
    """The last transcript of each note, by the file of its sound."""
    return {one.clip: one for one in transcripts}


def scan_transcripts(folder: Path) -> tuple[tuple[Transcript, ...], Finding | None]:
    """The transcripts up to the first faulty line, and a finding about it; None if there is none.

    Raises:
        RecordProblem: The file may not be read.
    """
    if not os.path.lexists(folder / TRANSCRIPTS_FILE):
        return (), None
    if not os.path.lexists(folder / SEAL_FILE):
        return (), _finding(1, f"a transcript belongs to a sealed session, and {SEAL_FILE} is missing")
    seal = sha256(read_inside(folder, SEAL_FILE))
    return follow(read_inside(folder, TRANSCRIPTS_FILE, _LARGEST_FILE), seal, parse_transcript, _finding)


def check(folder: Path, lines: Iterable[Line]) -> list[Finding]:
    """Everything that is wrong with the transcripts of a session.

    Args:
        folder: The session.
        lines: Its log, which names the voice notes.

    Raises:
        RecordProblem: The file may not be read.
    """
    found, finding = scan_transcripts(folder)
    notes = {clip.file: clip.sha256 for clip in notes_of(lines)}
    findings = []
    for one in found:
        if one.clip not in notes:
            findings.append(_finding(one.number, f"the log has no voice note {one.clip!r}"))
        elif one.sound != notes[one.clip]:
            findings.append(_finding(one.number, f"this was transcribed from other sound than {one.clip}"))
    return findings if finding is None else [*findings, finding]


def notes_of(lines: Iterable[Line]) -> list[Clip]:
    """The sound of the voice notes of a session, in order."""
    return [line.event.clip for line in lines if isinstance(line.event, NoteRecorded)]


def add_transcripts(folder: Path, made: Sequence[Transcript]) -> tuple[Transcript, ...]:
    """Write transcripts after those that are there; the caller has locked and verified the session.

    Args:
        folder: A sealed session.
        made: The transcripts; they get their numbers and their place in the chain here.

    Returns:
        The transcripts as they were written.

    Raises:
        RecordProblem: They cannot be written; the earlier ones stay as they were.
        RecordBroken: The earlier ones were altered.
    """
    before = len(read_transcripts(folder))
    kept = read_inside(folder, TRANSCRIPTS_FILE, _LARGEST_FILE) if before else b""
    last = kept.splitlines(keepends=True)[-1] if kept else read_inside(folder, SEAL_FILE)
    written = []
    for number, one in enumerate(made, start=before + 1):
        row = row_of(dataclasses.replace(one, number=number, previous=sha256(last)))
        written.append(parse_transcript(row))
        kept, last = kept + row, row
    if written:
        write_file(folder / TRANSCRIPTS_FILE, kept)
    return tuple(written)


def parse_transcript(row: bytes) -> Transcript:
    """The transcript that one line holds.

    Raises:
        ValueError, TypeError, KeyError, AttributeError, RecursionError: It is not a line that this program writes.
    """
    return parse_row(row, _transcript_of)


def _transcript_of(body: Any) -> Transcript:
    return Transcript(
        number=_whole(body["number"]),
        time=parse_time(body["time"]),
        clip=_text(body["clip"]),
        sound=parse_checksum(body["sound"]),
        model=_text(body["model"]),
        weights=parse_checksum(body["weights"]),
        program=_text(body["program"]),
        segments=_segments(body["segments"]),
        previous=parse_checksum(body["previous"]),
    )


def _segments(value: Any) -> tuple[NoteSegment, ...]:
    if not isinstance(value, list) or len(value) > MOST:
        raise ValueError(f"these are not up to {MOST} segments")
    return tuple(
        NoteSegment(
            words=_text(one["words"]),
            **{name: _real(one[name]) for name in _NUMBERS},
        )
        for one in value
    )


_NUMBERS = tuple(field.name for field in dataclasses.fields(NoteSegment) if field.name != "words")


def _text(value: Any) -> str:
    if not isinstance(value, str) or len(value) > LONGEST:
        raise TypeError(f"expected a text of at most {LONGEST} characters")
    return value


def _whole(value: Any) -> int:
    if type(value) is not int:
        raise TypeError("expected a whole number")
    return value


def _real(value: Any) -> float:
    if type(value) is not float or not math.isfinite(value):
        raise TypeError("expected a number with a decimal point")
    return value


def _finding(line: int, problem: str) -> Finding:
    return Finding(TRANSCRIPTS_FILE, line, problem, _FROM_A_COPY)
