"""`bay-assistant pack`: a session as a BagIt bag (RFC 8493), for hand-over.

A bag is a folder that anybody can check without this program: ``sha256sum -c manifest-sha256.txt`` in it, or any BagIt
tool.
Its payload is the session folder as it is, with its reviews, and the write-ups in all forms.
"""

from __future__ import annotations

import logging
import shutil
import zipfile
from typing import TYPE_CHECKING, Any

from assistant import __version__
from assistant.core.finding import Finding
from assistant.errors import RecordBroken, RecordProblem, UsageProblem
from assistant.record import verify
from assistant.record.header import HEADER_FILE, SEAL_FILE
from assistant.record.reading import check_folder
from assistant.record.storage import read_file, write_problem
from assistant.writeup import drafted, text, write_html, write_json, write_pdf
from assistant.writeup.data import SCHEMA_FILE
from assistant.writeup.statement import printable

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.writeup import Draft

PAYLOAD = "data"
WRITE_UPS = "write-up"
_DECLARATION = "bagit.txt"


def pack(folder: Path, out: Path) -> str:
    """Pack a session into a new folder, or into a new ZIP file when `out` ends in ``.zip``.

    Returns:
        A sentence when a form of the write-up had to be left out; "" when all are in.

    Raises:
        UsageProblem: `out` is there already, or its folder is not.
        RecordProblem: The folder is not a session, is not sealed, or the bag cannot be written; no part of it is left.
        RecordBroken: The session was altered.
    """
    check_folder(folder)
    if not (folder / SEAL_FILE).is_file():
        raise RecordProblem(
            f"The session {folder.name} is not sealed: it can still go on, and what is handed over would not be the "
            f"whole of it. Go on with 'bay-assistant run --resume {folder.name}' and close it first."
        )
    findings = verify(folder)
    if findings:
        raise RecordBroken(
            f"The session {folder.name} is not what was recorded, so it is not packed. {findings[0]} "
            f"'bay-assistant verify {folder}' lists everything that is wrong."
        )
    if out.exists():
        raise UsageProblem(f"{out} is there already. Name a new folder or a new .zip file.")
    if not out.resolve().parent.is_dir():
        raise UsageProblem(f"The folder of {out} does not exist. Name a place in a folder that does.")
    aside = out.resolve().parent / f".{out.name}.new"
    if aside.exists():
        raise UsageProblem(f"{aside} is left over from a packing that was broken off. Remove it.")
    try:
        left_out = _fill(folder, aside)
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
    return left_out


def is_bag(folder: Path) -> bool:
    """Whether a folder says that it is a bag."""
    return (folder / _DECLARATION).is_file()


def check(folder: Path) -> list[Finding]:
    """Everything that is wrong with a bag: with its files by its own manifests, and with the session in it.

    Raises:
        RecordProblem: There is no session in it.
    """
    import bagit  # noqa: PLC0415  80 ms, and only packing needs it

    _quiet()
    findings: list[Finding] = []
    remedy = "Take the bag from a copy"
    try:
        bag = bagit.Bag(str(folder))
        missing, added = bag.compare_manifests_with_fs()
        findings += [
            Finding(name, 0, "the bag was made with this file, which is missing", remedy) for name in missing
        ]
        findings += [Finding(name, 0, "this file was put into the bag", "Take it out") for name in added]
        if not findings:  # a count that does not fit says less than the names
            bag.validate()
    except bagit.BagValidationError as error:
        details = getattr(error, "details", None) or [error]
        findings += [Finding(folder.name, 0, str(one).rstrip("."), remedy) for one in details]
    except (bagit.BagError, OSError, ValueError) as error:
        findings.append(Finding(folder.name, 0, str(error).rstrip("."), remedy))
    sessions = sorted(path.parent for path in (folder / PAYLOAD).glob(f"*/{HEADER_FILE}"))
    if not sessions and not findings:
        raise RecordProblem(f"The bag {folder} holds no session.")
    for session in sessions:
        findings += [
            Finding(f"{PAYLOAD}/{session.name}/{one.path}", one.line, one.problem, one.remedy)
            for one in verify(session)
        ]
    return findings


def _fill(folder: Path, bag: Path) -> str:
    """Make the bag in a new folder; a sentence when the PDF had to be left out."""
    import bagit  # noqa: PLC0415

    _quiet()
    made, session, _ = drafted(folder)
    bag.mkdir()
    shutil.copytree(folder, bag / session.header.id, ignore=shutil.ignore_patterns(".*"))
    forms = bag / WRITE_UPS
    forms.mkdir()
    (forms / "write-up.txt").write_text(text(made), encoding="utf-8")
    # The links must fit the place that the page will have, beside the copy of the session.
    (forms / "write-up.html").write_text(write_html(bag / session.header.id, beside=forms), encoding="utf-8")
    (forms / "write-up.json").write_text(write_json(folder), encoding="utf-8")
    (forms / SCHEMA_FILE.name).write_bytes(read_file(SCHEMA_FILE))
    left_out = ""
    try:
        (forms / "write-up.pdf").write_bytes(write_pdf(folder))
    except UsageProblem as problem:
        left_out = f"The PDF was left out. {problem}"
    bagit.make_bag(str(bag), _information(made, session.header.id), checksums=["sha256"])
    return left_out


def _information(made: Draft, session: str) -> dict[str, str]:
    """What stands in ``bag-info.txt``: reserved names of RFC 8493, 2.2.2, and our own."""
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


def _zip(bag: Path, name: str, out: Path) -> None:
    """One top-level folder in a ZIP file, as RFC 8493, 4.2 wants it."""
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as written:
        for path in sorted(bag.rglob("*")):
            written.write(path, f"{name}/{path.relative_to(bag)}")


def _quiet() -> None:
    """Its log lines are for programmers."""
    logger: Any = logging.getLogger("bagit")
    logger.setLevel(logging.CRITICAL + 1)
