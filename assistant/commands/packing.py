"""Packs a session as a BagIt bag (RFC 8493) for hand-over.

A bag is a folder that anybody can check without this program: ``sha256sum -c manifest-sha256.txt`` in it, or any BagIt
tool.
Its payload is the record of the session with its reviews, and the write-ups in all forms, made anew from the record.
Only files with a checksum in the record go in, each by its name: a stray file, a link, or an overwritten write-up
in the session folder is left out.
The package is private: only its owner can read it, until somebody changes that.
"""

from __future__ import annotations

import os
import re
import shutil
import zipfile
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant import __version__
from assistant.commands.handing_over import told
from assistant.errors import RecordBroken, RecordProblem, UsageProblem
from assistant.record import read_reviews, read_session, verify
from assistant.record.bag import FORMS, WRITE_UPS, quiet
from assistant.record.contents import look, read_inside
from assistant.record.header import (
    HEADER_FILE,
    PROCEDURES,
    REVIEWS_FILE,
    REVIEWS_HEAD_FILE,
    SEAL_FILE,
    TRANSCRIPTS_FILE,
)
from assistant.record.reviews import writeup_name
from assistant.record.scanning import check_folder
from assistant.record.storage import (
    PRIVATE_FILE,
    PRIVATE_FOLDER,
    make_private_folder,
    open_private,
    read_file,
    write_file,
    write_problem,
)
from assistant.record.verifying import refuse_altered
from assistant.resources import refuse_installed
from assistant.writeup import drafted, text, write_html, write_json, write_pdf
from assistant.writeup.data import SCHEMA_FILE
from assistant.writeup.statement import printable

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assistant.writeup import Draft

_NAME = re.compile(r"[0-9A-Za-z][0-9A-Za-z._-]*")


@dataclass(frozen=True)
class Packed:
    """A packed session.

    Attributes:
        left_out: A sentence if a form of the write-up had to be left out; "" if all are in.
        told: The contents of the package in plain words, a line each.
    """

    left_out: str
    told: tuple[str, ...]


PARTS = {"check": 0.03, "copy": 0.02, "write-ups": 0.26, "PDF": 0.82, "checksums": 0.02}
"""What takes time, with the processor time of each for a session of a few answers, s."""


def pack(folder: Path, out: Path, begin: Callable[[str], object] = lambda _part: None) -> Packed:
    """Pack a session into a new folder, or into a new ZIP file if `out` ends in ``.zip``.

    Args:
        folder: The session.
        out: The package.
        begin: Called with the name of each part of `PARTS` when it begins.

    Raises:
        UsageProblem: `out` already exists, its folder does not, or it is inside the session itself.
        RecordProblem: The folder is not a session, is not sealed, or the bag cannot be written; no part of the
            bag remains.
        RecordBroken: The session was altered.
    """
    check_folder(folder)
    begin("check")
    refuse_altered(folder, "it is not packed")
    if not os.path.lexists(folder / SEAL_FILE):
        raise RecordProblem(
            f"The session {folder.name} is not sealed: it can still go on, so the bag would not hold all of "
            f"it. Resume it with 'bay-assistant run --resume {folder.name}' and close it first."
        )
    if os.path.lexists(out):
        raise UsageProblem(f"{out} already exists. Name a new folder or a new .zip file.")
    if not out.resolve().parent.is_dir():
        raise UsageProblem(f"The folder of {out} does not exist. Name a place in a folder that does.")
    if folder.resolve() in out.resolve().parents:
        raise UsageProblem(f"{out} is in the session itself. Name a place outside it.")
    refuse_installed(out)
    aside = out.resolve().parent / f".{out.name}.new"
    try:
        aside.mkdir(PRIVATE_FOLDER)
    except FileExistsError as error:
        raise UsageProblem(f"{aside} is left over from an interrupted packing. Remove it.") from error
    except OSError as error:
        raise write_problem(error, out) from error
    try:
        packed = _fill(folder, aside, begin)
        _make_private(aside)
        if out.suffix.lower() == ".zip":
            part = aside.with_name(f".{out.name}.part")
            try:
                _zip(aside, out.stem, part)
                part.rename(out)
            finally:
                part.unlink(missing_ok=True)
        else:
            aside.rename(out)
    except OSError as error:
        raise write_problem(error, out) from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return packed


def _fill(folder: Path, bag: Path, begin: Callable[[str], object]) -> Packed:
    """Make the bag in a new folder."""
    import bagit  # noqa: PLC0415  80 ms, and only packing needs it

    quiet()
    bag.chmod(PRIVATE_FOLDER)
    session = read_session(folder)
    # A name in the header could lead out of the bag.
    named = _NAME.fullmatch(session.header.id) and session.header.id != WRITE_UPS
    copy = bag / (session.header.id if named else "session")
    begin("copy")
    _copy(folder, copy)
    findings = verify(copy)
    if findings:
        raise RecordBroken(
            f"The session {folder.name} was altered while it was being packed, so it was not packed. {findings[0]}"
        )
    begin("write-ups")
    # From here on only the copy is read.
    made, session, _ = drafted(copy)
    forms = bag / WRITE_UPS
    make_private_folder(forms)
    written = {
        "write-up.txt": text(made).encode("utf-8", "replace"),
        # The links must fit the page's place beside the copy of the session.
        "write-up.html": write_html(copy, beside=forms).encode("utf-8", "replace"),
        "write-up.json": write_json(copy).encode("utf-8", "replace"),
        SCHEMA_FILE.name: read_file(SCHEMA_FILE),
    }
    left_out = ""
    begin("PDF")
    try:
        written["write-up.pdf"] = write_pdf(copy)
    except UsageProblem as problem:
        left_out = f"The PDF was left out. {problem}"
    begin("checksums")
    for name in FORMS:
        if name in written:
            write_file(forms / name, written[name])
    said = told(copy, session, made, [name for name in FORMS if name in written])
    bagit.make_bag(str(bag), _information(made, session.header.id), checksums=["sha256"])
    return Packed(left_out, said)


def _copy(folder: Path, copy: Path) -> None:
    """Copy exactly the files that the record names, without following links.

    Raises:
        RecordProblem: A file is missing, or cannot be read or written.
        RecordBroken: A link stands in its place.
    """
    session = read_session(folder)
    names = [HEADER_FILE, SEAL_FILE, *(f"{PROCEDURES}/{name}" for name in session.header.procedures)]
    names += [name for name in (session.sealed.files if session.sealed else ()) if name not in names]
    reviews = read_reviews(folder)
    if reviews:
        names += [REVIEWS_FILE, *(writeup_name(review.number) for review in reviews if review.signed)]
        names += [photo.file for review in reviews for photo in review.details.photos]
    names += [REVIEWS_HEAD_FILE, TRANSCRIPTS_FILE]
    there = look(folder).files
    for name in (name for name in names if name in there):  # `verify` will miss the others in the copy
        target = copy / name
        make_private_folder(target.parent)
        write_file(target, read_inside(folder, name))


def _information(made: Draft, session: str) -> dict[str, str]:
    """The contents of ``bag-info.txt``: reserved names of RFC 8493, 2.2.2, and our own."""
    facts = {fact.label: fact.value for fact in made.facts}
    found = {
        "External-Identifier": session,
        "External-Description": "Record of a diagnosis with its write-up: bay-assistant verify checks the record.",
        "Bag-Software-Agent": f"bay-assistant {__version__}",
        "Repair-Order": facts.get("Repair order", ""),
        "Vehicle-Identification-Number": facts.get("VIN", ""),
        "Session-Begun": " ".join(filter(None, (facts.get("Date", ""), facts.get("Begun", "")))),
        "Record-SHA256": made.record,
        "Write-Up-State": made.state.text,
    }
    # A value is one line of printable text.
    return {name: " ".join(printable(value).split()) for name, value in found.items() if value.strip()}


def _make_private(bag: Path) -> None:
    """Make the library's world-readable files private; until here the bag's folder kept them so."""
    for at, folders, names in os.walk(bag):
        for name in folders:
            os.chmod(os.path.join(at, name), PRIVATE_FOLDER)  # noqa: PTH101, PTH118
        for name in names:
            os.chmod(os.path.join(at, name), PRIVATE_FILE)  # noqa: PTH101, PTH118


def _zip(bag: Path, name: str, out: Path) -> None:
    """Write one top-level folder into a ZIP file, as RFC 8493, 4.2 requires, and keep its files as private as
    they were.
    """
    descriptor = open_private(out, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW)
    with (
        os.fdopen(descriptor, "wb") as file,
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, strict_timestamps=False) as written,
    ):
        for path in [bag, *sorted(bag.rglob("*"))]:
            written.write(path, f"{name}/{path.relative_to(bag)}")
