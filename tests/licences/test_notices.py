"""The notices name everything that an installation pulls in, with the licence that its own metadata states."""

from __future__ import annotations

import gzip
import importlib.metadata
import json
import re
import tomllib
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from packaging.licenses import canonicalize_license_expression
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from assistant.cli import main
from assistant.licences import installed
from assistant.licences.notices import FILE, WRITTEN, Notices, Package, read_notices, text

if TYPE_CHECKING:
    from collections.abc import Iterable

ROOT = Path(__file__).resolve().parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
EXTRAS: dict[str, list[str]] = PROJECT["optional-dependencies"]
NOTICES: Notices = read_notices()

ANYWHERE = [
    {"sys_platform": system, "platform_system": name, "os_name": kind, "platform_machine": machine,
     "python_version": python, "python_full_version": f"{python}.0"}
    for system, name, kind, machine in (
        ("linux", "Linux", "posix", "x86_64"), ("linux", "Linux", "posix", "aarch64"),
        ("darwin", "Darwin", "posix", "arm64"), ("win32", "Windows", "nt", "AMD64"),
    )
    for python in ("3.11", "3.14")
]  # fmt: skip
"""Where bay-assistant may be installed, as the markers of PEP 508 name it."""

FAMILIES = {
    "Apache Software License": "Apache-2.0",
    "BSD License": "BSD-",
    "MIT License": "MIT",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "Public Domain": "LicenseRef-Public-Domain",
    "Python Software Foundation License": "PSF-2.0",
    "GNU Library or Lesser General Public License (LGPL)": "LGPL-",
    "GNU General Public License v2 or later (GPLv2+)": "GPL-2.0-or-later",
    "GNU Lesser General Public License v2 or later (LGPLv2+)": "LGPL-2.",
    "Mozilla Public License 1.1 (MPL 1.1)": "MPL-1.1",
}
"""How the identifiers begin that a trove classifier can stand for (PyPI's list of classifiers; SPDX licence list)."""

FREE_TEXT = {
    "MIT License": "MIT",
    "Apache 2.0": "Apache-2.0",
    "BSD 3-Clause License": "BSD-3-Clause",
    "3-Clause BSD License": "BSD-3-Clause",
    "PSFL": "PSF-2.0",
    "LGPL": "LGPL-",
}


def in_use(requirement: Requirement, extras: Iterable[str], *, anywhere: bool) -> bool:
    """Whether a requirement holds: on this machine, or on any that bay-assistant may be installed on."""
    marker = requirement.marker
    places: list[dict[str, str]] = ANYWHERE if anywhere else [{}]
    return marker is None or any(
        marker.evaluate({**place, "extra": extra}) for place in places for extra in ("", *extras)
    )


@cache
def pulled_in(extra: str, *, anywhere: bool) -> frozenset[str]:
    """Names of all that an extra brings, "" for none, as far as installed packages tell."""
    waiting = [Requirement(line) for line in (EXTRAS[extra] if extra else PROJECT["dependencies"])]
    seen: set[tuple[str, tuple[str, ...]]] = set()
    while waiting:
        one = waiting.pop()
        key = (canonicalize_name(one.name), tuple(sorted(one.extras)))
        if key in seen:
            continue
        if key[0] == "bay-assistant":
            waiting += [Requirement(line) for own in one.extras for line in EXTRAS[own]]
            continue
        seen.add(key)
        try:
            requires = importlib.metadata.requires(one.name) or []
        except importlib.metadata.PackageNotFoundError:
            continue  # another platform's, or an extra that is not installed
        deeper = (Requirement(line) for line in requires)
        waiting += [found for found in deeper if in_use(found, one.extras, anywhere=anywhere)]
    return frozenset(name for name, _ in seen)


@pytest.mark.parametrize("extra", ["", *EXTRAS])
def test_all_that_is_pulled_in_is_named(extra: str) -> None:
    """Every package that the wheel or an extra requires, on any platform, has its licence in the notices."""
    found = pulled_in(extra, anywhere=True)
    missing = sorted(found - NOTICES.packages.keys())
    assert [] == missing, f"write their entries into {FILE.name}; README.md beside it says how"


@pytest.mark.parametrize("extra", sorted(EXTRAS))
def test_the_extras_of_a_package_are_those_that_bring_it(extra: str) -> None:
    """A person who asks what an extra adds is told of each package that it brings, and of none that all have."""
    brought = pulled_in(extra, anywhere=False) - pulled_in("", anywhere=False)
    named = {name for name, package in NOTICES.packages.items() if extra in package.extras}
    assert set() == brought - named
    there = {name for name in named - brought if installed.version(name)}
    unknown = [name for name in pulled_in(extra, anywhere=False) if installed.version(name) is None]
    assert unknown or set() == there, "an entry names an extra that does not bring it"


@pytest.mark.parametrize("package", NOTICES.packages.values(), ids=lambda one: one.name)
def test_every_licence_is_a_valid_expression(package: Package) -> None:
    """Licences are SPDX expressions in their canonical spelling, by the `packaging` library; the source is named."""
    for licence in (package.licence, *(one.licence for one in package.inside)):
        assert licence == canonicalize_license_expression(licence)
    assert all([package.read, *(one.read for one in package.inside)])


@pytest.mark.parametrize("part", [*NOTICES.carried, *NOTICES.system], ids=lambda one: one.name[:30])
def test_parts_and_packages_of_the_system_have_valid_expressions(part: Package) -> None:
    """The same for what the wheel carries, and for Debian's packages."""
    assert part.licence == canonicalize_license_expression(part.licence)
    assert part.read


@pytest.mark.parametrize("package", NOTICES.packages.values(), ids=lambda one: one.name)
def test_no_licence_contradicts_the_metadata(package: Package) -> None:
    """What a package's own metadata states is what the notices say, and what they read elsewhere they say so."""
    if installed.version(package.name) is None:
        pytest.skip("not installed here")
    metadata = importlib.metadata.metadata(package.name)
    expression = metadata.get("License-Expression")
    words = (metadata.get("License") or "").strip()
    kinds = [
        one.split(" :: ")[-1]
        for one in metadata.get_all("Classifier") or []
        if one.startswith("License :: ") and not one.endswith("OSI Approved")
    ]
    known = {canonicalize_license_expression(word) for word in re.split(r" (?:AND|OR) ", package.licence)}
    if expression:
        assert canonicalize_license_expression(expression) == package.licence
    elif words and words != "UNKNOWN" and len(words) < 60:
        stated = FREE_TEXT.get(words, words)
        assert stated == package.licence or any(one.startswith(stated) for one in known), words
    for kind in kinds:
        if not expression:
            assert any(one.startswith(FAMILIES[kind]) for one in known), kind
    if not (expression or words or kinds):
        assert not package.read.startswith("METADATA"), "its metadata states no licence"


def test_the_file_in_the_wheel_is_current() -> None:
    """THIRD-PARTY.txt says what third-party.toml says; README.md beside them has the command that writes it."""
    assert text(NOTICES) == WRITTEN.read_text(encoding="utf-8")


def test_what_the_wheel_carries_is_there_with_its_notice() -> None:
    """Each part that others made lies where the notices say, and the notices that have to go with it do too."""
    for part in NOTICES.carried:
        for file in re.findall(r"[\w./*-]+/[\w.*-]*", part.files):
            assert list(ROOT.glob(file.rstrip("/"))), file
    with gzip.open(ROOT / "assistant/grammar/english.txt.gz", "rt", encoding="utf-8") as file:
        assert "Carnegie Mellon University" in file.read(1000)
    with gzip.open(ROOT / "assistant/grammar/everyday.txt.gz", "rt", encoding="utf-8") as file:
        assert "Kevin Atkinson" in file.read(1000)
    assert "Carnegie Mellon University" in (ROOT / "grammars/lexicon.txt").read_text(encoding="utf-8")
    files = PROJECT["license-files"]
    for file in (
        "assistant/licences/THIRD-PARTY.txt",
        "assistant/licences/GPL-3.0.txt",
        "assistant/hearing/model/NOTICE",
        "assistant/speaking/neural/NOTICE",
        "assistant/speaking/neural/LICENSE",
        "LICENSE",
    ):
        assert file in files
        assert (ROOT / file).is_file()


def test_libraries_inside_packages_are_where_the_notices_say() -> None:
    """Files that "inside" entries name as their source are in the installed package."""
    checked = 0
    for package in NOTICES.packages.values():
        if installed.version(package.name) is None or package.name in ("scipy", "torch"):
            continue
        files = [str(file) for file in importlib.metadata.files(package.name) or []]
        for one in package.inside:
            for name in re.findall(r"[\w./-]*(?:LICENSE|COPYING|notes|Notices)[\w.-]*\.?\w*", one.read):
                checked += 1
                assert any(name.rstrip(".,") in file for file in files), (package.name, name)
    assert checked > 10


def test_gpl_text_is_the_real_one() -> None:
    """The text that the wheel carries is the GPL's own, as Debian's base-files have it (where this is Debian)."""
    ours = FILE.with_name("GPL-3.0.txt").read_text(encoding="utf-8")
    assert "GNU GENERAL PUBLIC LICENSE\n                       Version 3, 29 June 2007" in ours
    debian = Path("/usr/share/common-licenses/GPL-3")
    if not debian.is_file():
        pytest.skip("not Debian")
    assert debian.read_text(encoding="utf-8") == ours


def test_command_shows_versions_and_texts(capsys: pytest.CaptureFixture[str]) -> None:
    """`licences NAME --texts` gives one package: its installed version, where it was read, and its own text."""
    assert 0 == main(["licences", "soxr", "--texts"])
    shown = capsys.readouterr().out
    assert f"soxr: LGPL-2.1-or-later (installed: {importlib.metadata.version('soxr')})" in shown
    assert "GNU LESSER GENERAL PUBLIC LICENSE" in shown
    assert 0 == main(["licences", "espeakng_loader", "--texts"])
    assert "GNU GENERAL PUBLIC LICENSE" in capsys.readouterr().out


def test_command_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    """`licences --json` has every package with its version, None where it is not installed."""
    assert 0 == main(["licences", "--json"])
    shown = json.loads(capsys.readouterr().out)
    versions = {one["name"]: one["installed"] for one in shown["packages"]}
    assert versions.keys() == NOTICES.packages.keys()
    assert importlib.metadata.version("numpy") == versions["numpy"]
    assert versions["pywin32"] is None or installed.version("pywin32")
    assert "written offer" in shown["passing_on"]


def test_unknown_package_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """A name that is not required is an error with its cure, not an empty answer."""
    assert 2 == main(["licences", "left-pad"])
    assert "requires no package named 'left-pad'" in capsys.readouterr().err
