"""`bay-assistant review`: show a session's write-up, take what was really done, and sign it.

Answers at a terminal and options both end in one call of `record_review`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.errors import UsageProblem
from assistant.record.new_review import add_review, check_reviewable
from assistant.record.photos import NewPhoto, photo_in
from assistant.record.reviews import Labour, Part, Review
from assistant.record.scanning import check_folder
from assistant.record.storage import write_file
from assistant.writeup import drafted, text, write_html, write_text

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.core.library.library import Library

TEXT_FILE, PAGE_FILE = "write-up.txt", "write-up.html"
"""The write-ups that a live session leaves in its folder: they are made anew after a review."""

_YES = {"y", "yes"}
_PART = "PART; QUANTITY; PRICE; PART NUMBER"
_LABOR = "WORK; HOURS; PRICE"
_WORDS = {3: "three", 4: "four"}


@dataclass(frozen=True)
class WantedReview:
    """The contents of a review; see `assistant.record.reviews.Review`.

    `found` are faults by name or in plain words, `parts` and `labour` lines like "ignition coil; 1; 89.50"; a part's
    fourth cell is its number. `photos` are lines like "burnt-pin.jpg; pin 4".
    """

    reviewer: str = ""
    done: str = ""
    found: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    labour: tuple[str, ...] = ()
    remarks: str = ""
    sign: bool = False
    codes: tuple[str, ...] = ()
    location: str = ""
    photos: tuple[str, ...] = ()

    def says_something(self) -> bool:
        """Whether there is anything to be kept."""
        said = (
            self.done,
            self.found,
            self.parts,
            self.labour,
            self.remarks,
            self.codes,
            self.location,
            self.photos,
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
        UsageProblem: A fault is not in the catalogue, a line has too many parts, a photo cannot be kept, or a
            signature has no name.
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
        parts=tuple(Part(*_cells(line, _PART)) for line in wanted.parts),
        labour=tuple(Labour(*_cells(line, _LABOR)) for line in wanted.labour),
        remarks=wanted.remarks,
        codes=wanted.codes,
        location=wanted.location,
        photos=tuple(map(photo_named, wanted.photos)),
        sign=text(made) if wanted.sign else None,
    )
    if (folder / TEXT_FILE).exists():
        write_file(folder / TEXT_FILE, write_text(folder).encode("utf-8"))
    if (folder / PAGE_FILE).exists():
        write_file(folder / PAGE_FILE, write_html(folder).encode("utf-8"))
    return review


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
    raise UsageProblem(f"{begin}. {'Could be' if near else 'Known are'}: {listed}.")


def ask(
    folder: Path, wanted: WantedReview, question: Callable[[str], str], tell: Callable[[str], None]
) -> WantedReview:
    """Ask a person for all that was not given as an option; an empty answer leaves it out.

    Args:
        folder: The session.
        wanted: The parts given as options.
        question: Shows a question and gives back the answer.
        tell: Shows a sentence.

    Returns:
        What the review is to say; it says nothing when the person does not want to keep it.

    Raises:
        RecordProblem, RecordBroken: As for `show`.
    """
    library = drafted(folder)[2]
    tell(
        "Press Enter to leave a question out. Faults, parts, labor and photos are asked for again until you do."
    )
    if not wanted.done:
        wanted = replace(wanted, done=question("What did you fix? ").strip())
    if not wanted.found:
        wanted = replace(wanted, found=_faults(library, question, tell))
    if not wanted.location:
        wanted = replace(wanted, location=question("Where did it fail (connector, pin, splice)? ").strip())
    if not wanted.codes:
        wanted = replace(wanted, codes=_codes(question("Trouble codes? ")))
    if not wanted.parts:
        wanted = replace(wanted, parts=_lines("Part; quantity; price; part number? ", _PART, question, tell))
    if not wanted.labour:
        wanted = replace(wanted, labour=_lines("Labor; hours; price? ", _LABOR, question, tell))
    if not wanted.photos:
        wanted = replace(wanted, photos=_photos(question, tell))
    if not wanted.remarks:
        wanted = replace(wanted, remarks=question("Remarks? ").strip())
    if not wanted.reviewer:
        wanted = replace(wanted, reviewer=question("Your name? ").strip())
    if wanted.reviewer and not wanted.sign:
        name = wanted.reviewer
        answer = question(f"Sign this write-up and this review as {name}? (y/n) ").strip().lower()
        wanted = replace(wanted, sign=answer in _YES)
    if wanted.says_something() and not wanted.sign:
        kept = question("Keep this review without a signature? (y/n) ").strip().lower() in _YES
        return wanted if kept else WantedReview()
    return wanted


def _faults(library: Library, question: Callable[[str], str], tell: Callable[[str], None]) -> tuple[str, ...]:
    found: list[str] = []
    while answer := question("Which fault did you find? (? lists them) ").strip():
        if answer == "?":
            tell("\n".join(f"  {name}: {fault.plain}" for name, fault in library.terms.faults.items()))
            continue
        try:
            name = fault_named(library, answer)
        except UsageProblem as problem:
            tell(str(problem))
            continue
        tell(f"  {library.terms.faults[name].plain}")
        found.append(name)
    return tuple(found)


def photo_named(line: str) -> NewPhoto:
    """The photo of a line like "burnt-pin.jpg; pin 4 of the module connector".

    Raises:
        UsageProblem: It cannot be kept.
    """
    name, _, caption = line.partition(";")
    if Path(line).exists():  # its name may have a semicolon
        name, caption = line, ""
    return photo_in(Path(name.strip()).expanduser(), caption.strip())


def _photos(question: Callable[[str], str], tell: Callable[[str], None]) -> tuple[str, ...]:
    found: list[str] = []
    while answer := question("Photo file; what it shows? ").strip():
        try:
            photo_named(answer)
        except UsageProblem as problem:
            tell(str(problem))
            continue
        found.append(answer)
    return tuple(found)


def _codes(said: str) -> tuple[str, ...]:
    """Trouble codes, separated by commas, semicolons or spaces."""
    return tuple(said.replace(",", " ").replace(";", " ").split())


def _lines(
    asked: str, shape: str, question: Callable[[str], str], tell: Callable[[str], None]
) -> tuple[str, ...]:
    found: list[str] = []
    while answer := question(asked).strip():
        try:
            _cells(answer, shape)
        except UsageProblem as problem:
            tell(str(problem))
            continue
        found.append(answer)
    return tuple(found)


def _cells(line: str, shape: str) -> tuple[str, ...]:
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
