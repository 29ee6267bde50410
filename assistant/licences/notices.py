"""The notices: what ``third-party.toml`` says, as values and as text.

Licences are SPDX expressions (SPDX specification, annex "SPDX license expressions"); a licence that SPDX does not list
is a ``LicenseRef-``.
"""

from __future__ import annotations

import textwrap
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.printing import filled

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

FILE = Path(__file__).with_name("third-party.toml")
WRITTEN = Path(__file__).with_name("THIRD-PARTY.txt")
"""The same for people who read the wheel; `text` makes it."""

_WIDTH = 100


@dataclass(frozen=True)
class Inside:
    """A library, font or set of weights that lies inside a package."""

    name: str
    licence: str
    read: str


@dataclass(frozen=True)
class Package:
    """A package (a distribution of PyPI) that bay-assistant or one of its extras requires.

    Attributes:
        name: Its name, normalised (PyPA specification "Names and normalization").
        licence: SPDX expression.
        read: Where the licence was read.
        extras: The extras of bay-assistant that bring it; empty if every installation has it.
        note: What else is to be known.
        inside: What lies in it of others.
    """

    name: str
    licence: str
    read: str
    extras: tuple[str, ...] = ()
    note: str = ""
    inside: tuple[Inside, ...] = ()


@dataclass(frozen=True)
class Carried:
    """A part of the wheel that others made, or a package of the system; the latter has no `files`."""

    name: str
    licence: str
    read: str
    note: str = ""
    files: str = ""


@dataclass(frozen=True)
class Notices:
    """Everything that ``third-party.toml`` says.

    Attributes:
        carried: Parts of the wheel of bay-assistant.
        packages: Packages by name.
        system: Packages of Debian that README names.
        passing_on: What follows for a person who passes the whole on.
    """

    carried: tuple[Carried, ...]
    packages: Mapping[str, Package]
    system: tuple[Carried, ...]
    passing_on: str


def read_notices(file: Path = FILE) -> Notices:
    """The notices that come with the package."""
    found = tomllib.loads(file.read_text(encoding="utf-8"))
    return Notices(
        tuple(Carried(**one) for one in found["carried"]),
        {name: _package(name, one) for name, one in found["packages"].items()},
        tuple(Carried(**one) for one in found["system"]),
        found["passing_on"]["text"].strip(),
    )


def _package(name: str, found: Mapping[str, Any]) -> Package:
    inside = tuple(Inside(*one) for one in found.get("inside", ()))
    extras = tuple(found.get("extras", ()))
    return Package(name, found["licence"], found["read"], extras, found.get("note", ""), inside)


def text(notices: Notices, versions: Callable[[str], str | None] | None = None) -> str:
    """The notices for a person.

    Args:
        notices: What to write.
        versions: The installed version of a package, None if it is not installed; without it the text has no versions.
    """
    lines = [
        "THIRD-PARTY NOTICES OF BAY-ASSISTANT",
        "",
        "bay-assistant itself is under the Apache License, version 2.0 (LICENSE).",
        (
            'Each licence is an SPDX expression, followed by the place where it was read. "From memory" means that '
            "no file says it."
        ),
    ]
    lines += _heading("In the wheel of bay-assistant")
    for one in notices.carried:
        lines += [f"{one.name}: {one.licence}", *_indented(f"Files: {one.files}"), *_told(one.read, one.note)]
    for heading, packages in _groups(notices):
        lines += _heading(heading)
        for package in packages:
            lines += package_lines(package, versions)
    lines += _heading("Packages of the system (Debian), none of which comes with bay-assistant")
    for one in notices.system:
        lines += [f"{one.name}: {one.licence}", *_told(one.read, one.note)]
    lines += _heading("Passing the whole on")
    for paragraph in notices.passing_on.splitlines():
        lines += textwrap.wrap(paragraph, _WIDTH, subsequent_indent="  " * paragraph.startswith("-")) or [""]
    return "\n".join(lines) + "\n"


def package_lines(package: Package, versions: Callable[[str], str | None] | None) -> list[str]:
    """One package for a person."""
    first = f"{package.name}: {package.licence}"
    if versions is not None:
        version = versions(package.name)
        first += f" (installed: {version})" if version else " (not installed)"
    lines = [first, *_told(package.read, package.note)]
    for one in package.inside:
        lines += _indented(f"Inside: {one.name}: {one.licence}. Read in: {one.read}.")
    return lines


def package_json(package: Package, version: str | None) -> dict[str, Any]:
    """One package as JSON; `version` is None if it is not installed."""
    return {
        "name": package.name,
        "licence": package.licence,
        "read": package.read,
        "installed": version,
        "extras": list(package.extras),
        "note": package.note,
        "inside": [{"name": one.name, "licence": one.licence, "read": one.read} for one in package.inside],
    }


def notices_json(notices: Notices, versions: Callable[[str], str | None]) -> dict[str, Any]:
    """The notices as JSON."""
    return {
        "program": {"name": "bay-assistant", "licence": "Apache-2.0"},
        "carried": [vars(one) for one in notices.carried],
        "packages": [package_json(one, versions(one.name)) for one in notices.packages.values()],
        "system": [
            {name: value for name, value in vars(one).items() if name != "files"} for one in notices.system
        ],
        "passing_on": notices.passing_on,
    }


def _groups(notices: Notices) -> list[tuple[str, Sequence[Package]]]:
    """The packages by who gets them: everybody, then the extras in common use, then contributors."""
    found: dict[tuple[str, ...], list[Package]] = {}
    for package in notices.packages.values():
        useful = tuple(extra for extra in package.extras if extra != "test")
        found.setdefault(useful or package.extras, []).append(package)
    order = sorted(found, key=lambda extras: (bool(extras), "acoustic" in extras, "test" in extras, extras))
    return [(_who(extras), found[extras]) for extras in order]


def _who(extras: tuple[str, ...]) -> str:
    if not extras:
        return "Packages that every installation has"
    *before, last = (f"bay-assistant[{extra}]" for extra in extras)
    return f"Packages of {', '.join(before)} and {last}" if before else f"Packages of {last}"


def _heading(words: str) -> list[str]:
    return ["", words, "-" * len(words)]


def _told(read: str, note: str) -> list[str]:
    return [*_indented(f"Read in: {read}."), *(_indented(note) if note else [])]


def _indented(words: str) -> list[str]:
    return filled(words, _WIDTH, "    ", "      ")
