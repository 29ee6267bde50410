"""A shop's own copy of the procedures: made, and asked where it came from.

A copy is a folder that loads and lints on its own. Beside the files that are edited it keeps, in ``shipped/``, the
files as they were copied, with ``SHA256SUMS``: a line of ``sha256sum`` for each, and comment lines with the version.
So ``cd COPY && sha256sum --check shipped/SHA256SUMS`` names what was edited, without this program, and what the shop
changed can be told from what a new version of the program changed.
"""

from __future__ import annotations

import hashlib
import re
import shutil
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant import files
from assistant.core.comparison.versions import GRAMMARS, Version
from assistant.core.library.procedure import Leads
from assistant.core.library.ways import targets
from assistant.errors import FileProblem, UsageProblem
from assistant.loading.folder import (
    CAUTIONS_FILE,
    LIKELIHOODS_FILE,
    ODDS_FILE,
    TERMS_FILE,
    load_library,
)

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from assistant.core.library.library import Library

SHIPPED = "shipped"
"""Folder of a copy with the files as they were copied."""

SUMS = "SHA256SUMS"
SCHEMA_FILE = "procedure.schema.json"
README_FILE = "README.md"

SHARED = (TERMS_FILE, CAUTIONS_FILE, ODDS_FILE, LIKELIHOODS_FILE, SCHEMA_FILE, README_FILE)
"""Files of a folder besides the procedures themselves."""

_LINE = re.compile(r"(?P<sum>[0-9a-f]{64}) [ *](?P<name>(?:grammars/)?[A-Za-z0-9][A-Za-z0-9_.-]*)")
_VERSION = re.compile(r"# bay-assistant (?P<version>[0-9A-Za-z.+!-]{1,40})")
_LEFT_OUT = re.compile(r"# not copied: (?P<names>[a-z0-9 -]*)")


_REMEDY = "Take the file from a copy, or remove its folder and compare without it"


@dataclass(frozen=True)
class CopiedFrom:
    """Where a copy came from.

    Attributes:
        version: Version of the program that made it.
        sums: SHA-256 of each file as it was copied, by its name in the copy.
        left_out: Procedures of that version that were not copied.
    """

    version: str
    sums: Mapping[str, str] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()

    @property
    def speaks_for_itself(self) -> bool:
        """Whether it came with grammars of its own."""
        return any(name.startswith(f"{GRAMMARS}/") for name in self.sums)

    def to_bytes(self) -> bytes:
        """The file ``SHA256SUMS``."""
        lines = [f"# bay-assistant {self.version}"]
        if self.left_out:
            lines.append(f"# not copied: {' '.join(self.left_out)}")
        lines += [f"{checksum}  {name}" for name, checksum in sorted(self.sums.items())]
        return ("\n".join(lines) + "\n").encode()


def parse_origin(data: bytes, path: str) -> CopiedFrom:
    """Read back the bytes of `CopiedFrom.to_bytes`.

    Raises:
        FileProblem: They are something else; the message starts with ``file:line:``.
    """
    version, left_out, sums = "", (), {}
    for number, line in enumerate(data.decode("utf-8", "replace").splitlines(), start=1):
        if found := _LINE.fullmatch(line):
            sums[found["name"]] = found["sum"]
        elif found := _VERSION.fullmatch(line):
            version = found["version"]
        elif found := _LEFT_OUT.fullmatch(line):
            left_out = tuple(found["names"].split())
        elif line.strip() and not line.startswith("#"):
            raise FileProblem(path, number, "sha256sum writes no line like this", _REMEDY)
    if not version or not sums:
        raise FileProblem(path, 0, "it does not say which version its files came with", _REMEDY)
    return CopiedFrom(version, sums, left_out)


def origin_of(folder: Path) -> CopiedFrom | None:
    """Where a folder came from; None if it does not say.

    Raises:
        FileProblem: It says so in a damaged file.
        UsageProblem: The file cannot be read.
    """
    path = folder / SHIPPED / SUMS
    if not path.exists():
        return None
    return parse_origin(_bytes(path), str(path))


def with_what_follows(library: Library, wanted: Iterable[str]) -> tuple[str, ...]:
    """These procedures and all that they can lead to, in the order of the library: a folder loads only as a whole.

    Raises:
        UsageProblem: One does not exist.
    """
    reached: set[str] = set()
    waiting = list(wanted)
    while waiting:
        name = waiting.pop()
        if name in reached:
            continue
        procedure = library.procedure(name)
        reached.add(name)
        for step in procedure.steps.values():
            led = [one.name for one in targets(step) if one.leads is Leads.PROCEDURE]
            known = [answer.known_after for answer in step.ways() if answer.known_after]
            waiting += [*led, *known]
        for verdict in procedure.verdicts.values():
            back = verdict.next_check.come_back if verdict.next_check else ""
            waiting += filter(None, (verdict.continue_with, back if back and " " not in back else None))
    return tuple(name for name in library.procedures if name in reached)


def copy(
    source: Path, target: Path, names: Iterable[str], version: str, grammars: Path | None = None
) -> CopiedFrom:
    """Copy procedures with everything that they need to be loaded and linted.

    The copy appears as a whole or not at all.

    Args:
        source: Folder to copy from; it stays unchanged.
        target: The new folder; it does not exist yet, or is empty.
        names: Names of the procedures; they lead to no others.
        version: Version of the program.
        grammars: Folder of grammars that the copy gets as well; None for none.

    Raises:
        UsageProblem: The target is not empty, or something cannot be read or written.
    """
    wanted = set(names)
    known = sorted(path.stem for path in source.glob("*.yaml") if path.name not in SHARED)
    chosen = [name for name in SHARED if (source / name).is_file()]
    chosen += [f"{name}.yaml" for name in known if name in wanted]
    data = {name: _bytes(source / name, files.TABLE) for name in chosen}
    if grammars is not None:
        found = sorted((*grammars.glob("*.jsgf"), grammars / "lexicon.txt"))
        data |= {f"{GRAMMARS}/{path.name}": _bytes(path, files.TABLE) for path in found}
    origin = CopiedFrom(version, _sums(data), tuple(name for name in known if name not in wanted))
    _lay(target, data, origin)
    return origin


def _lay(target: Path, data: Mapping[str, bytes], origin: CopiedFrom) -> None:
    part = target.with_name(f".{target.name}.part")
    try:
        if target.exists() and (not target.is_dir() or any(target.iterdir())):
            raise UsageProblem(f"{target} is there already. Name a new folder; nothing was written.")
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.rmtree(part, ignore_errors=True)
        for folder in (part, part / SHIPPED):
            _write_all(folder, data)
        (part / SHIPPED / SUMS).write_bytes(origin.to_bytes())
        if target.is_dir():
            target.rmdir()
        part.rename(target)
    except OSError as error:
        with suppress(OSError):
            shutil.rmtree(part)
        raise UsageProblem(f"{target} cannot be written: {error.strerror}.") from error


def version_of(folder: Path, phrases: Mapping[tuple[str, str], tuple[str, ...]] | None = None) -> Version:
    """A folder as values, to be compared with another one.

    Raises:
        FileProblem: A file of it is wrong; the message starts with ``file:line:``.
        UsageProblem: It, or a file of it, cannot be read.
    """
    library = load_library(folder)
    odds = folder / ODDS_FILE
    return Version(
        library,
        _bytes(odds) if odds.is_file() else b"",
        sums_of(folder, (*SHARED, *(f"{name}.yaml" for name in library.procedures))),
        phrases or {},
    )


def sums_of(folder: Path, names: Iterable[str]) -> dict[str, str]:
    """SHA-256 of the named files of a folder; those that are missing are left out.

    Raises:
        UsageProblem: One cannot be read.
    """
    return _sums(contents(folder, names))


def _sums(data: Mapping[str, bytes]) -> dict[str, str]:
    return {name: hashlib.sha256(one).hexdigest() for name, one in data.items()}


def check_originals(folder: Path, origin: CopiedFrom) -> None:
    """The files in ``shipped/`` are those that were copied.

    Raises:
        FileProblem: One was changed or is missing.
        UsageProblem: One cannot be read.
    """
    there = sums_of(folder / SHIPPED, origin.sums)
    for name, checksum in origin.sums.items():
        if there.get(name) != checksum:
            raise FileProblem(
                folder / SHIPPED / name,
                0,
                "this is no longer the file that was copied"
                if name in there
                else "the copied file is missing",
                f"Put it back, or remove the folder {SHIPPED} and compare without it",
            )


def outdated(origin: CopiedFrom, bundled: Path, grammars: Path) -> bool:
    """Whether what ships now differs from what a copy came from; what was left out does not count."""
    now = _sums(shipped_now(origin, bundled, grammars))
    added = {name for name in now if "/" not in name} - {*SHARED, *origin.sums}
    return bool(added) or any(
        now.get(name) != checksum for name, checksum in origin.sums.items() if name != README_FILE
    )


def _bytes(path: Path, most: int = files.SETTINGS) -> bytes:
    try:
        return files.read_bytes(path, most)
    except OSError as error:
        raise UsageProblem(f"{path} cannot be read ({error.strerror}).") from error


# --- bringing a copy up to date -------------------------------------------------------------------


def contents(folder: Path, names: Iterable[str]) -> dict[str, bytes]:
    """The bytes of the named files of a folder; those that are missing are left out.

    Raises:
        UsageProblem: One cannot be read.
    """
    return {name: _bytes(folder / name, files.TABLE) for name in names if (folder / name).is_file()}


def shipped_now(origin: CopiedFrom, bundled: Path, grammars: Path) -> dict[str, bytes]:
    """What a copy of the same kind would hold now: without what was left out, with grammars if it has some.

    Raises:
        UsageProblem: Something cannot be read.
    """
    found = [path.name for path in bundled.glob("*.yaml")]
    names = {*found, *SHARED} - {f"{name}.yaml" for name in origin.left_out}
    data = contents(bundled, names)
    if origin.speaks_for_itself:
        spoken = contents(grammars, (path.name for path in grammars.glob("*.*")))
        data |= {f"{GRAMMARS}/{name}": one for name, one in spoken.items()}
    return data


def renew(
    folder: Path,
    changed: Mapping[str, bytes | None],
    shipped: Mapping[str, bytes],
    origin: CopiedFrom,
) -> None:
    """Write the files that changed, and keep what ships now as the originals.

    Args:
        folder: The copy.
        changed: New bytes of its files; None removes one.
        shipped: The new originals.
        origin: Where the copy comes from from now on; its checksums are made anew.

    Raises:
        UsageProblem: Something cannot be written.
    """
    part, old = folder / f".{SHIPPED}.part", folder / f".{SHIPPED}.old"
    try:
        for leftover in (part, old):
            shutil.rmtree(leftover, ignore_errors=True)
        _write_all(part, shipped)
        (part / SUMS).write_bytes(CopiedFrom(origin.version, _sums(shipped), origin.left_out).to_bytes())
        _write_all(folder, {name: one for name, one in changed.items() if one is not None})
        for name in (name for name, one in changed.items() if one is None):
            (folder / name).unlink(missing_ok=True)
        (folder / SHIPPED).rename(old)
        part.rename(folder / SHIPPED)
        shutil.rmtree(old)
    except OSError as error:
        raise UsageProblem(f"{folder} cannot be written: {error.strerror}.") from error


def _write_all(folder: Path, data: Mapping[str, bytes]) -> None:
    for name, one in data.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(one)
