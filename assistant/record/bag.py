"""Checks a bag (BagIt, RFC 8493) that holds a session: its manifests must name everything in it.

The bagit library checks the checksums, but it follows links, and it passes empty folders, extra files beside the
manifests, and paths that lead out of the bag.
So this module first looks at the bag without following anything, and hands only a bag of plain files, each named
once, to the library.
"""

from __future__ import annotations

import logging
import os
import re
import stat
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from assistant import files
from assistant.core.values.finding import Finding
from assistant.errors import RecordProblem
from assistant.record import verify
from assistant.record.contents import read_inside
from assistant.record.header import CLIPS, HEADER_FILE, PROCEDURES
from assistant.record.storage import read_problem

if TYPE_CHECKING:
    from pathlib import Path

PAYLOAD = "data"
WRITE_UPS = "write-up"
FORMS = ("write-up.txt", "write-up.html", "write-up.pdf", "write-up.json", "writeup.schema.json")
"""The files that pack puts into the folder of the write-ups."""

_DECLARATION = "bagit.txt"
_DECLARED = re.compile(r"BagIt-Version: (0\.9[3-7]|1\.0)\nTag-File-Character-Encoding: UTF-8\n?")
_FETCH = "fetch.txt"
_MANIFEST = re.compile(r"manifest-[a-z0-9]+\.txt")
_TAG_MANIFEST = re.compile(r"tagmanifest-[a-z0-9]+\.txt")
_LINE = re.compile(r"[0-9A-Fa-f]+[ \t]+\*?(?P<path>.+)")
_LARGEST_TAG_FILE = 64 << 20
_DEEPEST = 16
_FROM_A_COPY = "Take the bag from a copy"
_MOST_OF_A_KIND = 20


@dataclass
class _Tree:
    """Everything in a bag, by its path from the bag's folder."""

    files: set[str] = field(default_factory=set)
    empty: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)


def is_bag(folder: Path) -> bool:
    """Whether a folder declares itself a bag, and is not a session with a stray file in it."""
    return os.path.lexists(folder / _DECLARATION) and not os.path.lexists(folder / HEADER_FILE)


def check(folder: Path) -> list[Finding]:
    """Everything that is wrong with a bag: its contents, its files by its own manifests, and the session in it.

    It follows no link and reads nothing outside the bag.

    Raises:
        RecordProblem: It holds no session, or may not be read.
    """
    tree = _walk(folder)
    if tree.findings:
        return _shortened(tree.findings)
    findings = _declared(folder)
    listed = _listed(folder, tree, _MANIFEST, findings)
    tags = _listed(folder, tree, _TAG_MANIFEST, findings)
    _compare(tree, listed, tags, findings)
    if not findings:
        findings += _by_the_library(folder)
    sessions = [name.split("/")[1] for name in sorted(tree.files) if _is_header(name)]
    if not sessions and not findings:
        raise RecordProblem(f"The bag {folder} holds no session.")
    if len(sessions) > 1:
        problem = (
            f"the bag holds {len(sessions)} sessions ({', '.join(sessions[:3])}), and pack puts one into it"
        )
        findings.append(Finding(PAYLOAD, 0, problem, _FROM_A_COPY))
    elif sessions and not findings:
        findings += _beside(tree, sessions[0])
    for session in sessions[:2]:
        findings += [
            Finding(f"{PAYLOAD}/{session}/{one.path}", one.line, one.problem, one.remedy)
            for one in verify(folder / PAYLOAD / session)
        ]
    return _shortened(findings)


def quiet() -> None:
    """Keep the library's log lines to itself: they are for programmers."""
    logger: Any = logging.getLogger("bagit")
    logger.setLevel(logging.CRITICAL + 1)


def _walk(folder: Path) -> _Tree:
    """The contents of a bag; a link, a pipe, a socket, a device and endless nesting are findings.

    Raises:
        RecordProblem: A folder may not be read.
    """
    tree = _Tree()
    left = [""]
    while left:
        at = left.pop()
        try:
            with os.scandir(folder / at) as entries:
                inside = [(entry.name, entry.stat(follow_symlinks=False).st_mode) for entry in entries]
        except OSError as error:
            raise read_problem(error, folder / at) from error
        if not inside:
            tree.empty.append(at)
        for name, mode in sorted(inside):
            path = f"{at}/{name}" if at else name
            if stat.S_ISLNK(mode):
                problem = "this is a link, and a bag has none: what it leads to was not read"
                tree.findings.append(Finding(path, 0, problem, "Take it out"))
            elif stat.S_ISDIR(mode):
                if path.count("/") >= _DEEPEST:
                    tree.findings.append(Finding(path, 0, "the folders are nested too deep", _FROM_A_COPY))
                else:
                    left.append(path)
            elif kind := files.kind_of(mode):
                tree.findings.append(
                    Finding(path, 0, f"this is {kind}, and a bag has only files", "Take it out")
                )
            else:
                tree.files.add(path)
    return tree


def _declared(folder: Path) -> list[Finding]:
    text = _text(folder, _DECLARATION)
    if text is None or not _DECLARED.fullmatch(text.replace("\r\n", "\n")):
        problem = "this does not declare a bag of version 0.93 to 1.0 in UTF-8"
        return [Finding(_DECLARATION, 0, problem, _FROM_A_COPY)]
    return []


def _listed(
    folder: Path, tree: _Tree, sort: re.Pattern[str], findings: list[Finding]
) -> dict[str, dict[str, int]]:
    """The paths in each manifest of a sort, with their lines; mistakes go to `findings`."""
    found: dict[str, dict[str, int]] = {}
    for name in sorted(name for name in tree.files if sort.fullmatch(name)):
        paths = found.setdefault(name, {})
        text = _text(folder, name)
        if text is None:
            findings.append(Finding(name, 0, "this is not text in UTF-8", _FROM_A_COPY))
            continue
        for number, row in enumerate(text.replace("\r\n", "\n").split("\n"), start=1):
            if not row.strip():
                continue
            line = _LINE.fullmatch(row)
            path = _decoded(line["path"]) if line else ""
            if line is None:
                problem = "this line is no checksum with the name of a file"
            elif _leads_out(path, payload=sort is _MANIFEST):
                problem = f"{path[:80]!r} is not the name of a file that this manifest can hold"
            elif path in paths:
                problem = f"{path[:80]!r} stands here a second time"
            else:
                paths[path] = number
                continue
            findings.append(Finding(name, number, problem, _FROM_A_COPY))
    return found


def _text(folder: Path, name: str) -> str | None:
    try:
        return read_inside(folder, name, _LARGEST_TAG_FILE).decode("utf-8")
    except UnicodeDecodeError:
        return None


def _decoded(path: str) -> str:
    """RFC 8493, 2.1.3: line ends and percent signs in a name are written as percent codes."""
    for code, sign in (("%0D", "\r"), ("%0d", "\r"), ("%0A", "\n"), ("%0a", "\n"), ("%25", "%")):
        path = path.replace(code, sign)
    return path


def _leads_out(path: str, *, payload: bool) -> bool:
    """Whether a path leads out of the bag or away from the files of this manifest."""
    parts = path.split("/")
    odd = (
        path.startswith("~") or "\\" in path or "\0" in path or any(part in ("", ".", "..") for part in parts)
    )
    return odd or (parts[0] == PAYLOAD) is not payload


def _compare(
    tree: _Tree,
    listed: dict[str, dict[str, int]],
    tags: dict[str, dict[str, int]],
    findings: list[Finding],
) -> None:
    """Compare the bag with its manifests: each must name every file, and nothing else."""
    payload = {name for name in tree.files if name.startswith(f"{PAYLOAD}/")}
    beside = {name for name in tree.files - payload if not _TAG_MANIFEST.fullmatch(name)}
    if not listed:
        findings.append(Finding("manifest-sha256.txt", 0, "the bag has no manifest", _FROM_A_COPY))
    if not tags:
        problem = "the bag has no manifest of the files beside its payload"
        findings.append(Finding("tagmanifest-sha256.txt", 0, problem, _FROM_A_COPY))
    named = {
        path: (name, line) for name, paths in (*listed.items(), *tags.items()) for path, line in paths.items()
    }
    for name in sorted(set(named) - tree.files):
        problem = f"the bag was made with this file, which is missing; {named[name][0]} names it"
        findings.append(Finding(name, 0, problem, _FROM_A_COPY))
    for manifests, there in ((listed, payload), (tags, beside)):
        for name in sorted(there):
            without = next((one for one, paths in manifests.items() if name not in paths), None)
            if without is not None:
                findings.append(
                    Finding(
                        name, 0, f"this file was put into the bag: {without} does not name it", "Take it out"
                    )
                )
    if _FETCH in tree.files:
        findings.append(
            Finding(_FETCH, 0, "this names files to be fetched, and a whole bag has them", "Take it out")
        )
    findings += [
        Finding(name, 0, "this empty folder was put into the bag", "Take it out")
        for name in sorted(tree.empty)
        if not _may_be_empty(name)
    ]


def _may_be_empty(name: str) -> bool:
    """A session without sound that an earlier version packed still has a folder for it."""
    parts = name.split("/")
    return len(parts) == 3 and parts[0] == PAYLOAD and parts[2] in (CLIPS, PROCEDURES)


def _is_header(name: str) -> bool:
    parts = name.split("/")
    return len(parts) == 3 and parts[0] == PAYLOAD and parts[2] == HEADER_FILE


def _beside(tree: _Tree, session: str) -> list[Finding]:
    """Files in the payload that belong neither to the session nor to its write-ups, although a manifest names
    them.
    """
    forms = {f"{PAYLOAD}/{WRITE_UPS}/{name}" for name in FORMS}
    ours = f"{PAYLOAD}/{session}/"
    return [
        Finding(
            name, 0, "this is neither of the session nor one of its write-ups", "Take the bag from a copy"
        )
        for name in sorted(tree.files)
        if name.startswith(f"{PAYLOAD}/") and not name.startswith(ours) and name not in forms
    ]


def _by_the_library(folder: Path) -> list[Finding]:
    """Check the checksums with the library of the standard's keepers."""
    import bagit  # noqa: PLC0415  80 ms, and only bags need it

    quiet()
    try:
        bagit.Bag(str(folder)).validate()
    except bagit.BagValidationError as error:
        found = []
        for one in getattr(error, "details", None) or [error]:
            if isinstance(one, bagit.ChecksumMismatch):
                found.append(
                    Finding(one.path, 0, "this file was altered after the bag was made", _FROM_A_COPY)
                )
            else:
                found.append(Finding(folder.name, 0, _one_line(one), _FROM_A_COPY))
        return found
    except (bagit.BagError, OSError, ValueError, LookupError) as error:
        return [Finding(folder.name, 0, _one_line(error), _FROM_A_COPY)]
    return []


def _one_line(error: Exception) -> str:
    said = " ".join(str(error).split()).rstrip(".")
    return said if len(said) <= 200 else f"{said[:199]}…"


def _shortened(findings: list[Finding]) -> list[Finding]:
    """The findings, with only a count after the first of each kind: a spoilt bag needs no list of its files."""
    counts: dict[str, int] = {}
    kept = []
    for one in findings:
        counts[one.problem] = counts.get(one.problem, 0) + 1
        if counts[one.problem] <= _MOST_OF_A_KIND:
            kept.append(one)
    for problem, count in counts.items():
        if count > _MOST_OF_A_KIND:
            kept.append(
                Finding(PAYLOAD, 0, f"the same of {count - _MOST_OF_A_KIND} more: {problem}", _FROM_A_COPY)
            )
    return kept
