"""What this installation knows of the packages: their versions, and the licence texts that they brought along."""

from __future__ import annotations

import importlib.metadata
import re
from pathlib import Path

_TEXT = re.compile(
    r"(LICEN[CS]E|COPYING|NOTICE|AUTHORS|license_notes|ThirdPartyNotices)[\w.-]*", re.IGNORECASE
)
_NO_TEXT = {".py", ".pyc", ".so", ".json"}

OWN = {"espeakng-loader": "GPL-3.0.txt"}
"""Texts that lie beside this module, because the package lacks them."""


def version(name: str) -> str | None:
    """The installed version of a package; None if it is not installed."""
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return None


def texts(name: str) -> dict[str, str]:
    """The licence texts of a package by their file names; none if it is not installed, or brought none."""
    found = {}
    if name in OWN:
        found[OWN[name]] = Path(__file__).with_name(OWN[name]).read_text(encoding="utf-8")
    try:
        files = importlib.metadata.distribution(name).files or []
    except importlib.metadata.PackageNotFoundError:
        return found
    for file in files:
        if _TEXT.fullmatch(file.name) and file.suffix not in _NO_TEXT:
            path = Path(str(file.locate()))
            if path.is_file():
                found[str(file)] = path.read_text(encoding="utf-8", errors="replace")
    return found
