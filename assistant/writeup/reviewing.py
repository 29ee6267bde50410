"""Reviews: what was really done and found in a session, kept beside its record, and the write-ups made anew.

Whoever takes a review (the command line, the board) ends in one call of `record_review`.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.core.library.identity import check_vin
from assistant.core.nearest import did_you_mean
from assistant.errors import UsageProblem
from assistant.record.new_review import add_review, check_reviewable
from assistant.record.photos import NewPhoto, photo_in
from assistant.record.reviews import CheckedNote, Labour, Part, Review
from assistant.record.scanning import check_folder
from assistant.record.storage import write_file
from assistant.record.transcripts import NOTHING_UNDERSTOOD
from assistant.writeup import drafted, text, write_html, write_text

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.writeup.contents import Draft

TEXT_FILE, PAGE_FILE = "write-up.txt", "write-up.html"
"""The write-ups that a live session leaves in its folder: they are made anew after a review."""

PART = "PART; QUANTITY; PRICE; PART NUMBER"
LABOR = "WORK; HOURS; PRICE"
"""The shapes of a line of parts and of labor."""

_WORDS = {3: "three", 4: "four"}


@dataclass(frozen=True)
class WantedWork:
    """The work that a review tells of, and its name; see `assistant.record.reviews.Review`.

    `found` are faults by name or in plain words, `parts` and `labour` lines like "ignition coil; 1; 89.50"; a part's
    fourth cell is its number.
    """

    reviewer: str = ""
    done: str = ""
    found: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    labour: tuple[str, ...] = ()
    remarks: str = ""
    sign: bool = False


@dataclass(frozen=True)
class WantedReview(WantedWork):
    """The contents of a review; see `assistant.record.reviews.Details`.

    `photos` are lines like "burnt-pin.jpg; pin 4", and `taken` are photos that came without a file. `notes` are lines
    like "2; the plug is green": the number of a voice note and its words, or the number alone for the words that a
    machine wrote down.
    """

    codes: tuple[str, ...] = ()
    location: str = ""
    vin: str = ""
    photos: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    taken: tuple[NewPhoto, ...] = ()

    def says_something(self) -> bool:
        """Whether there is anything to be kept."""
        said = (
            self.done,
            self.found,
            self.parts,
            self.labour,
            self.remarks,
            self.vin,
            self.codes,
            self.location,
            self.photos,
            self.notes,
            self.taken,
        )
        return any(said) or self.sign


def show(folder: Path) -> str:
    """The write-up as it stands, with the reviews so far.

    Raises:
        RecordProblem: The folder is not a session, or is not sealed.
        RecordBroken: It was altered.
    """
    check_folder(folder)
    check_reviewable(folder)
    return write_text(folder)


def record_review(folder: Path, wanted: WantedReview) -> Review:
    """Keep a review, and make the write-ups in the session folder anew.

    Raises:
        UsageProblem: A fault is not in the catalogue, the VIN is none, a line has too many parts, a photo cannot be
            kept, or a signature has no name.
        RecordProblem: The folder is not a session, is not sealed, or cannot be written.
        RecordBroken: It was altered.
    """
    check_folder(folder)
    check_reviewable(folder)
    made, _, library = drafted(folder)
    review = add_review(
        folder,
        reviewer=wanted.reviewer,
        done=wanted.done,
        found=tuple(dict.fromkeys(fault_named(library, name) for name in wanted.found)),
        parts=tuple(Part(*cells(line, PART)) for line in wanted.parts),
        labour=tuple(Labour(*cells(line, LABOR)) for line in wanted.labour),
        remarks=wanted.remarks,
        codes=wanted.codes,
        location=wanted.location,
        vin=str(check_vin(wanted.vin)) if wanted.vin else "",
        photos=(*map(photo_named, wanted.photos), *wanted.taken),
        notes=tuple(note_named(made, line) for line in wanted.notes),
        sign=text(made) if wanted.sign else None,
    )
    renew(folder)
    return review


def renew(folder: Path) -> None:
    """Make the write-ups that a session folder holds anew from its record.

    Raises:
        RecordProblem: They cannot be written.
        RecordBroken: The session was altered.
    """
    if (folder / TEXT_FILE).exists():
        write_file(folder / TEXT_FILE, write_text(folder).encode("utf-8"))
    if (folder / PAGE_FILE).exists():
        write_file(folder / PAGE_FILE, write_html(folder).encode("utf-8"))


def fault_named(library: Library, said: str) -> str:
    """The name of a fault that was given by its name or in the plain words of the write-up.

    Raises:
        UsageProblem: There is none, or more than one begins so; names those that could be meant.
    """
    wanted = " ".join(said.lower().split())
    plain = {name: fault.plain.lower() for name, fault in library.terms.faults.items()}
    for name, words in plain.items():
        if wanted in (name, words, words.partition(" (")[0]):
            return name
    near = [name for name, words in plain.items() if wanted and (wanted in words or wanted in name)]
    if len(near) == 1:
        return near[0]
    listed = "; ".join(f"{name} ({library.terms.faults[name].plain})" for name in near or plain)
    begin = f"'{said}' can be one of several faults" if near else f"There is no fault '{said}'"
    meant = "" if near else did_you_mean(wanted.replace(" ", "-"), plain)
    raise UsageProblem(f"{begin}. {meant}{'Could be' if near else 'Known are'}: {listed}.")


def photo_named(line: str) -> NewPhoto:
    """The photo of a line like "burnt-pin.jpg; pin 4 of the module connector".

    Raises:
        UsageProblem: It cannot be kept.
    """
    name, _, caption = line.partition(";")
    if Path(line).exists():  # its name may have a semicolon
        name, caption = line, ""
    return photo_in(Path(name.strip()).expanduser(), caption.strip())


def note_named(draft: Draft, line: str) -> CheckedNote:
    """The words of a voice note in a line like "2; the plug is green", or "2" for those that stand there already.

    Raises:
        UsageProblem: There is no such note, or it has no words yet.
    """
    number, _, words = line.partition(";")
    note = next((one for one in draft.notes if str(one.number) == number.strip()), None)
    if note is None:
        there = f"It has {len(draft.notes)}" if draft.notes else "It has none"
        raise UsageProblem(f"'{number.strip()}' is not the number of a voice note of this session. {there}.")
    said = " ".join(words.split()) or (note.words if note.words != NOTHING_UNDERSTOOD else "")
    if not said:
        raise UsageProblem(
            f"Voice note {note.number} has no words yet. Write them behind a semicolon: --note '{note.number}; …'."
        )
    return CheckedNote(note.clip, said)


def cells(line: str, shape: str) -> tuple[str, ...]:
    """The parts of a line of the repair order.

    Raises:
        UsageProblem: The first one is empty, or there are more than the shape has.
    """
    cells = tuple(cell.strip() for cell in line.split(";"))
    most = shape.count(";") + 1
    if not cells[0] or len(cells) > most:
        raise UsageProblem(
            f"'{line}' is not a line like \"{shape}\": write up to {_WORDS[most]} parts separated by semicolons, "
            "and do not leave the first one empty."
        )
    return cells
