"""`bay-assistant review`: asks a person at a terminal for what was really done, and for a signature."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from assistant.core.library.identity import check_vin
from assistant.errors import UsageProblem
from assistant.writeup import drafted
from assistant.writeup.reviewing import LABOR, PART, WantedReview, cells, fault_named, photo_named
from assistant.writeup.voice_notes import BY_MACHINE, shown

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from assistant.core.library.library import Library
    from assistant.writeup.voice_notes import VoiceNote

_YES = {"y", "yes"}


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
    made, _, library = drafted(folder)
    tell(
        "Press Enter to leave a question out. Faults, parts, labor and photos are asked for again until you do."
    )
    if not wanted.done:
        wanted = replace(wanted, done=question("What did you fix? ").strip())
    if not wanted.found:
        wanted = replace(wanted, found=_faults(library, question, tell))
    if not wanted.vin and not made.box("VIN"):
        vins = _answers("VIN? ", check_vin, question, tell)
        wanted = replace(wanted, vin=next((str(check_vin(vin)) for vin in vins), ""))
    if not wanted.location:
        wanted = replace(wanted, location=question("Where did it fail (connector, pin, splice)? ").strip())
    if not wanted.codes:
        wanted = replace(wanted, codes=_codes(question("Trouble codes? ")))
    if not wanted.parts:
        asked, check = "Part; quantity; price; part number? ", partial(cells, shape=PART)
        wanted = replace(wanted, parts=tuple(_answers(asked, check, question, tell)))
    if not wanted.labour:
        asked, check = "Labor; hours; price? ", partial(cells, shape=LABOR)
        wanted = replace(wanted, labour=tuple(_answers(asked, check, question, tell)))
    if not wanted.photos:
        photos = _answers("Photo file; what it shows? ", photo_named, question, tell)
        wanted = replace(wanted, photos=tuple(photos))
    if not wanted.notes:
        wanted = replace(wanted, notes=_notes(made.notes, question))
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


def _answers(
    asked: str,
    check: Callable[[str], object],
    question: Callable[[str], str],
    tell: Callable[[str], None],
) -> Iterator[str]:
    """The good answers to a question that is asked again until one is empty; what is wrong with a bad one is told."""
    while answer := question(asked).strip():
        try:
            check(answer)
        except UsageProblem as problem:
            tell(str(problem))
        else:
            yield answer


def _notes(notes: tuple[VoiceNote, ...], question: Callable[[str], str]) -> tuple[str, ...]:
    """Voice notes that a machine wrote down, as a person affirms or corrects them after listening."""
    found = []
    for note in notes:
        if note.by != BY_MACHINE:
            continue
        answer = question(f"Voice note {shown(note)} Right? (y, or the right words) ").strip()
        if answer:
            found.append(f"{note.number}" if answer.lower() in _YES else f"{note.number}; {answer}")
    return tuple(found)


def _codes(said: str) -> tuple[str, ...]:
    """Trouble codes, separated by commas, semicolons or spaces."""
    return tuple(said.replace(",", " ").replace(";", " ").split())
