"""Reviews of a session: the reviewer of the write-up, the work that was done, and the fault that was found.

A sealed session folder may hold ``reviews.jsonl``, one JSON object a line, written by ``bay-assistant review``.
Each line holds the SHA-256 of the line before it with its newline; the first holds that of ``seal.json``, which
in turn holds the checksums of the whole record.
Each also holds the SHA-256 of its own other parts, in the form in which the program writes them.
So a review belongs to one record, and any line that is altered, added or removed shows.
A later review amends an earlier one; nothing is erased.

Beside them stands the head, ``reviews-head.json`` (`assistant.record.review_head`), with the number of reviews
and the checksum of the last one.
The seal and each line say that the head exists, so removing or truncating the reviews, their head, or both is a
finding; so is a ``writeup-N.txt`` that no review signed.
Sessions that an earlier version sealed have no head, and are intact without one until the next review.

A photo is copied into the folder as ``photo-1.jpg`` and so on; the review that attached it holds its checksum.

The folder alone cannot show that an older copy of reviews, head and signed write-ups was put back; that somebody
made them anew, because nothing in them is secret; or that all were removed from a session that an earlier version
sealed.
``bay-assistant sessions`` reports that a session has lost its reviews, as long as its index knows of them.

A signature here is that of a repair order: a name, a time, and the checksums of the record and of the write-up
that the reviewer saw (kept as ``writeup-1.txt`` and so on). It is not cryptographic: it does not prove who typed
the name.
"""

from __future__ import annotations

import dataclasses
import os
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from assistant.core.values.finding import Finding
from assistant.errors import RecordBroken
from assistant.record import review_head
from assistant.record.chained import follow, parse_row
from assistant.record.contents import PHOTO, read_inside
from assistant.record.header import REVIEWS_FILE, SEAL_FILE, parse_time
from assistant.record.recorded import clip_name_is_ours
from assistant.record.storage import parse_checksum, sha256

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path


@dataclass(frozen=True)
class Part:
    """A part line of the repair order; the shop fills in an empty field, such as the price.

    `number` is the part number; the line of a part without one has no such key, as in earlier versions.
    """

    part: str
    quantity: str = ""
    price: str = ""
    number: str = ""


@dataclass(frozen=True)
class Labour:
    """A labor line of the repair order: the work, its hours and its price; the shop fills in an empty field.

    The lines of a review spell it `labour`, as the first version did.
    """

    work: str
    hours: str = ""
    price: str = ""


@dataclass(frozen=True)
class Photo:
    """A picture that was attached to a review.

    Attributes:
        file: Its name in the session folder: ``photo-1.jpg`` or ``photo-2.png``.
        sha256: Checksum of that file.
        caption: What it shows, in the words of the reviewer, or else the name of the file it was copied from.
    """

    file: str
    sha256: str
    caption: str


@dataclass(frozen=True)
class CheckedNote:
    """The words of a voice note, from a person who listened to it.

    Attributes:
        clip: File of its sound in the session folder.
        words: Its words.
    """

    clip: str
    words: str


@dataclass(frozen=True)
class Details:
    """More about the failure, for the repair order; a review without any has no such key.

    Attributes:
        codes: Trouble codes as they were read.
        location: The place of the failure: connector, pin, splice.
        photos: Pictures.
        notes: Voice notes whose words a person checked; a line without any has no such key, as in earlier versions.
        vin: The vehicle identification number, already checked; a line without it has no such key, as before.
    """

    codes: tuple[str, ...] = ()
    location: str = ""
    photos: tuple[Photo, ...] = ()
    notes: tuple[CheckedNote, ...] = ()
    vin: str = ""


NO_DETAILS = Details()


@dataclass(frozen=True)
class Signature:
    """The name under a review, with its time and its objects.

    Attributes:
        name: The name as typed.
        time: Time of signing.
        record: SHA-256 of ``seal.json``, which holds those of the whole record.
        writeup: SHA-256 of the write-up that the reviewer saw, kept in `writeup_name`.
    """

    name: str
    time: datetime
    record: str
    writeup: str


@dataclass(frozen=True)
class Review:
    """One review of a session.

    Attributes:
        number: 1, 2, 3 … in the session.
        time: Time of writing, with the offset to UTC.
        reviewer: The reviewer's name; "" if none was given.
        done: The work that was done, in words; "" if not given.
        found: Names of terms.yaml of the faults that proved true; () if unknown.
        parts: Parts that were used.
        labour: Work that is charged.
        remarks: Anything else.
        signed: The signature; None for a review that nobody signed.
        previous: SHA-256 of the line before, or of ``seal.json``.
        head: Name of the head's file, which counts the reviews; "" in reviews of earlier versions.
        details: Codes, place of the failure, pictures, words of voice notes.
    """

    number: int
    time: datetime
    reviewer: str = ""
    done: str = ""
    found: tuple[str, ...] = ()
    parts: tuple[Part, ...] = ()
    labour: tuple[Labour, ...] = ()
    remarks: str = ""
    signed: Signature | None = None
    previous: str = ""
    head: str = ""
    details: Details = NO_DETAILS

    def to_json(self) -> dict[str, Any]:
        """The review as JSON; times are ISO 8601.

        What an earlier version did not know is left out where it is empty, so that it can still read the rest.
        """
        signed = self.signed
        body = {
            **dataclasses.asdict(self),
            "time": self.time.isoformat(timespec="milliseconds"),
            "signed": signed
            and {**dataclasses.asdict(signed), "time": signed.time.isoformat(timespec="milliseconds")},
        }
        for part in body["parts"]:
            if not part["number"]:
                del part["number"]
        for name in ("notes", "vin"):
            if not body["details"][name]:
                del body["details"][name]
        if self.details == NO_DETAILS:
            del body["details"]
        return body


def writeup_name(number: int) -> str:
    """File name, in the session folder, of the write-up that the review of this number signed."""
    return f"writeup-{number}.txt"


def last_stating(reviews: Sequence[Review], stated: Callable[[Review], object]) -> Review | None:
    """The last signed review that states this: it counts, whatever the session or an earlier review says."""
    return next((one for one in reversed(reviews) if one.signed and stated(one)), None)


def vin_stated(review: Review) -> str:
    """The vehicle identification number that a review states; "" if it states none."""
    return review.details.vin


def read_reviews(folder: Path) -> tuple[Review, ...]:
    """The reviews of a session, in order; none if nobody has reviewed it.

    It does not check the record itself; `verify` does.

    Raises:
        RecordProblem: The file may not be read.
        RecordBroken: The chain is broken, or this program would not write such a line.
    """
    reviews, finding = scan_reviews(folder)
    if finding is not None:
        raise RecordBroken(f"The reviews of {folder.name} are not what was written. {finding}")
    return reviews


def scan_reviews(folder: Path) -> tuple[tuple[Review, ...], Finding | None]:
    """The reviews up to the first faulty line, and a finding about it; None if there is none.

    Raises:
        RecordProblem: The file may not be read.
    """
    reviewed = os.path.lexists(folder / REVIEWS_FILE)
    if not os.path.lexists(folder / SEAL_FILE):
        # The head of a session that was about to be sealed counts nothing.
        if not reviewed and not review_head.counts_any(folder):
            return (), None
        return (), _finding(1, f"a review belongs to a sealed session, and {SEAL_FILE} is missing")
    sealed = read_inside(folder, SEAL_FILE)
    seal, named = sha256(sealed), review_head.named_by(sealed)
    if not reviewed:
        return (), review_head.check(folder, seal, [], named=named)
    data = read_inside(folder, REVIEWS_FILE)
    reviews, finding = follow(data, seal, parse_review, _finding)
    if finding is not None:
        return reviews, finding
    checksums = [sha256(row + b"\n") for row in data.split(b"\n")[:-1]]
    named = named or any(review.head for review in reviews)
    return reviews, review_head.check(folder, seal, checksums, named=named)


def parse_review(row: bytes) -> Review:
    """The review that one line holds.

    Raises:
        ValueError, TypeError, KeyError, AttributeError, RecursionError: It is not a line that this program writes.
    """
    return parse_row(row, _review_of, absent={"head": ""})


def _review_of(body: Any) -> Review:
    details = body.get("details")
    return Review(
        number=body["number"],
        time=parse_time(body["time"]),
        reviewer=_text(body["reviewer"]),
        done=_text(body["done"]),
        found=tuple(_text(name) for name in _list(body["found"])),
        parts=tuple(Part(**_texts(part)) for part in _list(body["parts"])),
        labour=tuple(Labour(**_texts(work)) for work in _list(body["labour"])),
        remarks=_text(body["remarks"]),
        signed=_signature(body["signed"]),
        previous=parse_checksum(body["previous"]),
        head=_text(body.get("head", "")),
        details=NO_DETAILS if details is None else _details(details),
    )


def _details(body: Any) -> Details:
    photos = tuple(Photo(**_texts(photo)) for photo in _list(body["photos"]))
    for photo in photos:
        parse_checksum(photo.sha256)
        if not PHOTO.fullmatch(photo.file):
            raise ValueError(f"{photo.file!r} is not the name of a photo")
    notes = tuple(CheckedNote(**_texts(note)) for note in _list(body.get("notes", [])))
    for note in notes:
        if not clip_name_is_ours(note.clip):
            raise ValueError(f"{note.clip!r} is not the name of a clip")
    return Details(
        codes=tuple(_text(code) for code in _list(body["codes"])),
        location=_text(body["location"]),
        photos=photos,
        notes=notes,
        vin=_text(body.get("vin", "")),
    )


def _signature(body: Any) -> Signature | None:
    if body is None:
        return None
    name, moment, record, writeup = (_text(body[key]) for key in ("name", "time", "record", "writeup"))
    return Signature(name, parse_time(moment), parse_checksum(record), parse_checksum(writeup))


def _list(value: Any) -> list[Any]:
    if not isinstance(value, list):
        raise TypeError(f"expected a list, found {value!r}")
    return value


def _texts(value: Any) -> dict[str, str]:
    return {name: _text(text) for name, text in value.items()}


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError(f"expected text, found {value!r}")
    return value


def _finding(line: int, problem: str) -> Finding:
    return Finding(REVIEWS_FILE, line, problem, "Take the session from a copy")
