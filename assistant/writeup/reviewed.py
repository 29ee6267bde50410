"""The statements of the reviews, and the additions of a signed one to the form."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.words import placing
from assistant.record.reviews import last_stating, vin_stated
from assistant.writeup.contents import UNSIGNED, LabourLine, PartLine, PhotoLine, Reviewed, Said
from assistant.writeup.naming import plain
from assistant.writeup.statement import NOTHING, Statement, once, review, term

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.core.library.library import Library
    from assistant.record.reviews import CheckedNote, Review


def state(signed: Sequence[Review]) -> Statement:
    """The last signature with its time, or that the write-up is a draft."""
    last = signed[-1] if signed else None
    if last is None or last.signed is None:
        return Statement(UNSIGNED)
    return Statement(
        f"Reviewed and signed by {last.signed.name}, {last.signed.time:%Y-%m-%d %H:%M}", review(last.number)
    )


def done(signed: Sequence[Review]) -> Statement:
    """The work that was done, by the last signed review that states it."""
    return _stated(signed, lambda one: one.done)


def confirmed(library: Library, signed: Sequence[Review]) -> Statement:
    """The fault that the shop found, by the last signed review that states it."""
    last = last_stating(signed, lambda one: one.found)
    if last is None:
        return NOTHING
    return Statement(
        placing.listed([plain(library, name) for name in last.found]),
        (*review(last.number), *(source for name in last.found for source in term("faults", name))),
    )


def customer(library: Library, signed: Sequence[Review]) -> Statement:
    """The fault that the shop found for the car's owner, if it found only one."""
    last = last_stating(signed, lambda one: one.found)
    fault = library.terms.faults.get(last.found[0]) if last and len(last.found) == 1 else None
    if last is None or fault is None or not fault.customer:
        return NOTHING
    return Statement(fault.customer, (*review(last.number), *term("faults", fault.name, "customer")))


def codes(signed: Sequence[Review]) -> Statement:
    """Trouble codes, by the last signed review that has any."""
    return _stated(signed, lambda one: ", ".join(one.details.codes))


def location(signed: Sequence[Review]) -> Statement:
    """The place of the failure, by the last signed review that states it."""
    return _stated(signed, lambda one: one.details.location)


def vin(signed: Sequence[Review]) -> Statement:
    """The vehicle identification number, by the last signed review that states it."""
    return _stated(signed, vin_stated)


def _stated(signed: Sequence[Review], stated: Callable[[Review], str]) -> Statement:
    """What the last signed review states that states it at all."""
    last = last_stating(signed, stated)
    return Statement(stated(last), review(last.number)) if last else NOTHING


def shown(library: Library, reviews: Sequence[Review]) -> tuple[Reviewed, ...]:
    """Every review in order, with its signature and later amendments."""
    found = []
    for one in reviews:
        sign = one.signed
        signed = (
            f"Signed by {sign.name}, {sign.time:%Y-%m-%d %H:%M}. SHA-256 of the record's seal {sign.record}, "
            f"of the write-up that was signed {sign.writeup}"
            if sign
            else "Not signed"
        )
        later = [other for other in reviews if other.number > one.number]
        says = _says(library, one, later)
        amending = [
            other.number for other in later if any(f"review {other.number}" in one.amended for one in says)
        ]
        found.append(
            Reviewed(
                number=one.number,
                time=f"{one.time:%Y-%m-%d %H:%M}",
                reviewer=one.reviewer,
                says=says,
                signed=signed,
                sources=once(
                    (
                        *review(one.number),
                        *(source for number in amending for source in review(number)),
                        *(source for name in one.found for source in term("faults", name)),
                    )
                ),
            )
        )
    return tuple(found)


def _says(library: Library, one: Review, later: list[Review]) -> tuple[Said, ...]:
    """The statements of a review, each with the first later review that says something else about it."""

    def stated(of: Review, name: str) -> object:
        return getattr(of if hasattr(of, name) else of.details, name)

    def amended(name: str) -> str:
        mine = stated(one, name)
        found = next((other for other in later if stated(other, name) not in ((), "", mine)), None)
        return f"amended by review {found.number}" if found else ""

    says = [Said("Done", one.done, amended("done"))] if one.done else []
    if one.found:
        names = placing.listed([plain(library, name) for name in one.found])
        says.append(Said("Found", names, amended("found")))
    if one.details.vin:
        says.append(Said("VIN", one.details.vin, amended("vin")))
    if one.details.location:
        says.append(Said("Failed at", one.details.location, amended("location")))
    if one.details.codes:
        says.append(Said("Codes", ", ".join(one.details.codes), amended("codes")))
    says += [
        Said("Part", _joined(part.part, part.number, part.quantity, part.price), amended("parts"))
        for part in one.parts
    ]
    says += [
        Said(
            "Labor",
            _joined(work.work, f"{work.hours} h" if work.hours else "", work.price),
            amended("labour"),
        )
        for work in one.labour
    ]
    says += [Said("Photo", f"{photo.file}, {photo.caption}", "") for photo in one.details.photos]
    says += [
        Said(f"Voice note {note.clip}", note.words, _corrected(note, later)) for note in one.details.notes
    ]
    if one.remarks:
        says.append(Said("Remarks", one.remarks, ""))
    return tuple(says)


def _corrected(note: CheckedNote, later: list[Review]) -> str:
    """The first later review with other words for the same note; "" if none has."""
    for other in later:
        if any(one.clip == note.clip and one.words != note.words for one in other.details.notes):
            return f"amended by review {other.number}"
    return ""


def _joined(*parts: str) -> str:
    return ", ".join(filter(None, parts))


def photos(reviews: Sequence[Review]) -> tuple[PhotoLine, ...]:
    """Photos of all reviews, in order."""
    return tuple(
        PhotoLine(photo.file, photo.caption, photo.sha256, review(one.number))
        for one in reviews
        for photo in one.details.photos
    )


def parts(signed: Sequence[Review]) -> tuple[PartLine, ...]:
    """Part lines of the last signed review that has any."""
    last = last_stating(signed, lambda one: one.parts)
    if last is None:
        return ()
    return tuple(
        PartLine(part.part, part.number, part.quantity, part.price, review(last.number))
        for part in last.parts
    )


def labour(signed: Sequence[Review]) -> tuple[LabourLine, ...]:
    """Labor lines of the last signed review that has any."""
    last = last_stating(signed, lambda one: one.labour)
    if last is None:
        return ()
    return tuple(LabourLine(work.work, work.hours, work.price, review(last.number)) for work in last.labour)
