"""A folder of procedures: ``terms.yaml``, ``cautions.yaml`` and a file for each procedure.

Results are weighed with ``odds.yaml``, ``likelihoods.json`` and, in a session's own copy of the folder, the shop's
``findings.json``.
Loading is all or nothing: the first mistake raises a `FileProblem` that names its file and line.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assistant import files
from assistant.core.library.library import Library
from assistant.core.library.procedure_file import parse_procedure
from assistant.core.library.terms_file import parse_cautions, parse_terms
from assistant.core.library.ways import check_hand_overs
from assistant.core.reasoning.knowledge import Knowledge, parse_table
from assistant.core.reasoning.odds_file import parse_findings, parse_odds
from assistant.errors import FileProblem, UsageProblem

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.core.library.terms import Terms
    from assistant.core.reasoning.odds import Odds

TERMS_FILE = "terms.yaml"
CAUTIONS_FILE = "cautions.yaml"
ODDS_FILE = "odds.yaml"
FINDINGS_FILE = "findings.json"
LIKELIHOODS_FILE = "likelihoods.json"


def load_folder(directory: Path) -> tuple[Library, Knowledge | None]:
    """Read everything that a session needs: the library, and what it weighs results with.

    Raises:
        UsageProblem: The folder, or one of its files, cannot be read.
        FileProblem: A file is wrong; the message starts with ``file:line:``.
    """
    library = load_library(directory)
    return library, load_knowledge(directory, library.terms)


def load_library(directory: Path) -> Library:
    """Read terms, cautions and all procedures of a folder.

    Raises:
        UsageProblem: The folder, or its terms or cautions, cannot be read.
        FileProblem: A file is wrong; the message starts with ``file:line:``.
    """
    terms = parse_terms(*_read(directory / TERMS_FILE))
    cautions = parse_cautions(*_read(directory / CAUTIONS_FILE), terms.instruments)
    library = Library(terms, cautions)
    lines: dict[str, dict[str, int]] = {}
    for path in procedure_files(directory):
        procedure, where = parse_procedure(*_read(path), terms, cautions)
        if procedure.name in library.procedures:
            other = library.procedures[procedure.name].file
            raise FileProblem(
                path, 1, f"procedure '{procedure.name}' is also in {other}", "Give it another name"
            )
        library.procedures[procedure.name] = procedure
        lines[procedure.name] = where
    for name, procedure in library.procedures.items():
        check_hand_overs(procedure, library.procedures, lines[name])
    return library


def procedure_files(directory: Path) -> list[Path]:
    """The files of a folder that hold a procedure each, by name."""
    others = (TERMS_FILE, CAUTIONS_FILE, ODDS_FILE)
    return [path for path in sorted(directory.glob("*.yaml")) if path.name not in others]


def problems(directory: Path) -> list[FileProblem]:
    """What keeps a folder from being loaded: the first mistake of each file; empty if it loads.

    Mistakes that only show once all files are read come when these are right.

    Raises:
        UsageProblem: The folder, or one of its files, cannot be read.
    """
    try:
        terms = parse_terms(*_read(directory / TERMS_FILE))
        cautions = parse_cautions(*_read(directory / CAUTIONS_FILE), terms.instruments)
    except FileProblem as problem:
        return [problem]
    found = []
    for path in procedure_files(directory):
        try:
            parse_procedure(*_read(path), terms, cautions)
        except FileProblem as problem:
            found.append(problem)
    if not found:
        try:
            load_folder(directory)
        except FileProblem as problem:
            found.append(problem)
    return found


def load_knowledge(directory: Path, terms: Terms) -> Knowledge | None:
    """Read what results are weighed with: likelihoods and odds, with the shop's findings if the folder has them.

    Returns:
        None if likelihoods or odds are missing, as in sessions recorded before there were any.

    Raises:
        UsageProblem: One of the files cannot be read.
        FileProblem: One of them is wrong; the message starts with ``file:line:``.
    """
    table = directory / LIKELIHOODS_FILE
    if not (table.is_file() and (directory / ODDS_FILE).is_file()):
        return None
    version, circuits = parse_table(*_read(table, files.TABLE))
    odds = parse_odds(*_read(directory / ODDS_FILE), terms)
    findings = directory / FINDINGS_FILE
    if findings.is_file():
        odds = replace(odds, findings=parse_findings(*_read(findings), terms))
    return Knowledge(version, circuits, odds)


def load_odds(directory: Path, terms: Terms) -> Odds:
    """Read ``odds.yaml`` of a folder, without the shop's findings.

    Raises:
        UsageProblem: There is no such file, or it cannot be read.
        FileProblem: It is wrong; the message starts with ``file:line:``.
    """
    path = directory / ODDS_FILE
    try:
        data = files.read_bytes(path, files.SETTINGS)
    except OSError as error:
        raise UsageProblem(
            f"Odds of faults and minutes of tests need the file {path}, but it cannot be read ({error.strerror})."
        ) from error
    return parse_odds(data, str(path), terms)


def _read(path: Path, most: int = files.SETTINGS) -> tuple[bytes, str]:
    """The bytes of a file, and its name for messages."""
    try:
        return files.read_bytes(path, most), str(path)
    except OSError as error:
        raise UsageProblem(
            f"The procedures need the file {path}, but it cannot be read ({error.strerror})."
        ) from error
