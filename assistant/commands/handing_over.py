"""The contents of a packed session in plain words, so that the technician knows them before anyone else has them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.values.perceived import Perceived
from assistant.core.values.witness import Witness
from assistant.record import read_reviews
from assistant.record.header import CLIPS
from assistant.record.recorded import clips_of
from assistant.record.transcripts import latest, read_transcripts
from assistant.writeup.statement import printable

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assistant.core.values.events import Event
    from assistant.record import RecordedSession
    from assistant.writeup import Draft

_NOT_OF_A_PERSON = {"Date", "Begun"}


def told(folder: Path, session: RecordedSession, made: Draft, forms: Sequence[str]) -> tuple[str, ...]:
    """The contents of a session that is handed over, a line each.

    Args:
        folder: The folder of the intact session.
        session: The session that was read from it.
        made: Its write-up.
        forms: File names of the write-ups in the package.
    """
    given = [
        f"{fact.label} {fact.value}"
        for fact in made.facts
        if fact.value and fact.label not in _NOT_OF_A_PERSON
    ]
    if made.concern.text:
        given.append("the customer's complaint")
    procedures = len(session.header.procedures)
    lines = (
        _sound(folder, session),
        _written_down(folder),
        f"About customer and vehicle: {'; '.join(given) or 'nothing was given'}.",
        f"The whole dialogue with its times: {len(session.lines)} lines.",
        f"The procedures it followed: {procedures} files.",
        _reviews(folder),
        _photos(folder),
        f"The write-up as {', '.join(name.rpartition('.')[2].upper() for name in forms if 'schema' not in name)}.",
    )
    return tuple(printable(" ".join(line.split())) for line in lines if line)


def _sound(folder: Path, session: RecordedSession) -> str:
    sound = list((folder / CLIPS).glob("*.flac"))
    if not sound:
        return "No voice recordings."
    current = {clip.file for line in session.lines if _of_clamp(line.event) for clip in clips_of(line.event)}
    captures = [path for path in sound if f"{CLIPS}/{path.name}" in current]
    sound = [path for path in sound if path not in captures]
    told = f" {len(captures)} capture{'' if len(captures) == 1 else 's'} of a current." if captures else ""
    if not sound:
        return f"No voice recordings.{told}"
    lengths = {
        clip.file: clip.duration_s
        for line in session.lines
        for clip in clips_of(line.event)
        if clip.file not in current
    }
    size = sum(path.stat().st_size for path in sound)
    unknown = sum(f"{CLIPS}/{path.name}" not in lengths for path in sound)
    more = f" and {unknown} of a length that the log does not say" if unknown else ""
    count = f"{len(sound)} voice recording{'' if len(sound) == 1 else 's'}"
    length = f"{_minutes(sum(lengths.values()))}{more}, {_megabytes(size)}"
    return f"{count}, {length}: anyone can hear what was said in the bay.{told}"


def _of_clamp(event: Event) -> bool:
    """Whether a clamp captured what this event keeps."""
    return isinstance(event, Perceived) and event.source is Witness.CLAMP


def _written_down(folder: Path) -> str:
    count = len(latest(read_transcripts(folder)))
    if not count:
        return ""
    notes = f"{count} voice note{'' if count == 1 else 's'}"
    return f"{notes} in words, as a machine wrote them down: anyone can read and search them."


def _reviews(folder: Path) -> str:
    reviews = read_reviews(folder)
    if not reviews:
        return "No reviews."
    signed = list(dict.fromkeys(review.signed.name for review in reviews if review.signed))
    others = [review.reviewer for review in reviews if review.reviewer]
    unsigned = [name for name in dict.fromkeys(others) if name not in signed]
    names = [
        f"signed by {', '.join(signed)}" if signed else "",
        f"by {', '.join(unsigned)}" if unsigned else "",
    ]
    told_names = "; ".join(filter(None, names))
    count = f"{len(reviews)} review{'' if len(reviews) == 1 else 's'}"
    return f"{count}{', ' if told_names else ''}{told_names}: what was done, parts, labor and remarks."


def _photos(folder: Path) -> str:
    photos = [photo for review in read_reviews(folder) for photo in review.details.photos]
    if not photos:
        return ""
    size = _megabytes(sum((folder / photo.file).stat().st_size for photo in photos))
    count = f"{len(photos)} photo{'' if len(photos) == 1 else 's'}"
    return f"{count}, {size}, without the place where they were taken: anyone can see what is in them."


def _minutes(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest} s" if minutes else f"{seconds:.1f} s" if seconds < 10 else f"{rest} s"


def _megabytes(size: int) -> str:
    return f"{size / 1e6:.1f} MB" if size >= 1e6 else f"{max(1, round(size / 1e3))} kB"
