"""The table of what other systems get says what the resolver found, and nothing is called complete that is not."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from resolving import EXTRAS, PYTHONS, SOURCES, Set, read_lock, table

ROOT = Path(__file__).resolve().parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]

# In the format of PEP 751.
LOCK = """
lock-version = "1.0"
created-by = "by hand"
[[packages]]
name = "vosk"
version = "0.3.44"
wheels = [{ url = "https://index.example/a.whl", size = 4000000 }, { url = "https://index.example/b.whl", size = 1 }]
[[packages]]
name = "srt"
version = "3.5.3"
sdist = { url = "https://index.example/srt.tar.gz", size = 500000 }
"""


def test_the_largest_file_of_each_package_counts() -> None:
    """Where several wheels fit, the figure is not less than what is fetched."""
    assert Set("0.3.44", 2, 4.5) == read_lock(LOCK)


def test_a_package_without_a_wheel_is_no_complete_set() -> None:
    """A compiled package that has only its source would need a compiler on a technician's machine."""
    with pytest.raises(ValueError, match="other has no wheel that fits"):
        read_lock(LOCK.replace('"srt"', '"other"'))


def test_a_missing_set_is_shown_as_missing() -> None:
    """A combination without a complete set stands in its row as none, beside those that there are."""
    found = {("Here", "3.11", extra): Set("0.3.45", 3, 7.2) for extra in EXTRAS}
    found["Here", "3.11", "pdf"] = Set(problem="no wheel")
    row = table(found).splitlines()[2]
    assert "| Here | 3.11 | 0.3.45 | 7 MB, 3 | **none** | 7 MB, 3 | 7 MB, 3 | 7 MB, 3 |" == row


def test_what_is_resolved_exists_in_the_metadata() -> None:
    """The Pythons are those of the classifiers, and the extras exist; no requirement of ours comes as source."""
    classified = {
        found[1]
        for one in PROJECT["classifiers"]
        if (found := re.fullmatch(r"Programming Language :: Python :: (3\.\d+)", one))
    }
    assert set(PYTHONS) == classified
    assert set(EXTRAS) - {""} <= set(PROJECT["optional-dependencies"])
    assert not any(one.startswith(source) for one in PROJECT["dependencies"] for source in SOURCES)
