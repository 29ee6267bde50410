"""A shop's own copy: whole, open to other programs, and true about where it came from."""

from __future__ import annotations

import re
import shutil
import subprocess
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, strategies as st

from assistant.errors import FileProblem, UsageProblem
from assistant.loading import copying
from assistant.loading.copying import SHIPPED, SUMS, CopiedFrom, origin_of, parse_origin
from assistant.loading.folder import load_folder, load_library
from assistant.resources import directory

if TYPE_CHECKING:
    from pathlib import Path

BUNDLED = directory("procedures")
LIBRARY = load_library(BUNDLED)


@pytest.fixture
def made(tmp_path: Path) -> Path:
    copying.copy(BUNDLED, tmp_path / "shop", LIBRARY.procedures, "0.1.0")
    return tmp_path / "shop"


def sha256sum(folder: Path, sums: Path) -> subprocess.CompletedProcess[str]:
    """Coreutils' own check."""
    return subprocess.run(
        ["sha256sum", "--check", "--quiet", "--strict", str(sums)],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_copy_is_what_was_copied(made: Path) -> None:
    """It loads like the bundled folder and weighs results like it."""
    library, knowledge = load_folder(made)
    assert LIBRARY.procedures.keys() == library.procedures.keys()
    assert knowledge is not None


def test_what_a_copy_says_about_itself_leads_somewhere(made: Path) -> None:
    """Each link of its README is to a file of the copy, which stands on its own, or to a heading of the page."""
    text = (made / "README.md").read_text(encoding="utf-8")
    links = re.findall(r"\]\(([^)#]+)[^)]*\)", text)
    assert [] == [link for link in links if not (made / link).is_file()]


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="sha256sum (coreutils) is not installed")
def test_sha256sum_itself_tells_which_files_were_edited(made: Path) -> None:
    """Coreutils finds nothing in a new copy, names an edited file, and finds the originals as they were."""
    sums = made / SHIPPED / SUMS
    assert (0, "") == (sha256sum(made, sums).returncode, sha256sum(made, sums).stdout)
    with (made / "coil-control.yaml").open("a", encoding="utf-8") as file:
        file.write("# ours\n")
    found = sha256sum(made, sums)
    assert (1, "coil-control.yaml: FAILED\n") == (found.returncode, found.stdout)
    assert 0 == sha256sum(made / SHIPPED, sums).returncode


def test_a_copy_of_some_takes_along_what_they_lead_to(tmp_path: Path) -> None:
    """A folder loads only as a whole, so a part of it is copied with everything that it can lead to, and no more."""
    source = shutil.copytree(BUNDLED, tmp_path / "source")
    text = (source / "coil-control.yaml").read_text(encoding="utf-8")
    (source / "ours.yaml").write_text(
        text.replace("procedure: coil-control", "procedure: ours"), encoding="utf-8"
    )
    library = load_library(source)
    names = copying.with_what_follows(library, ["crank-sensor"])
    assert "crank-sensor" in names
    assert "ours" not in names  # nothing leads there
    assert "ours" in copying.with_what_follows(library, ["ours"])
    origin = copying.copy(source, tmp_path / "shop", names, "0.1.0")
    assert set(names) == load_library(tmp_path / "shop").procedures.keys()
    assert ("ours",) == origin.left_out
    assert origin == origin_of(tmp_path / "shop")


def test_a_copy_never_writes_over_anything(tmp_path: Path) -> None:
    """A folder with something in it, or a file, is refused and stays as it is; an empty folder is taken."""
    there = tmp_path / "there"
    there.mkdir()
    (there / "note.txt").write_text("ours", encoding="utf-8")
    for target in (there, there / "note.txt"):
        with pytest.raises(UsageProblem, match="there already"):
            copying.copy(BUNDLED, target, LIBRARY.procedures, "0.1.0")
    assert ["note.txt"] == [path.name for path in there.iterdir()]
    (tmp_path / "empty").mkdir()
    copying.copy(BUNDLED, tmp_path / "empty", LIBRARY.procedures, "0.1.0")
    assert LIBRARY.procedures.keys() == load_library(tmp_path / "empty").procedures.keys()


def test_a_copy_of_a_read_only_folder_can_be_edited(tmp_path: Path) -> None:
    """The bundled files may be read-only; the copies are not."""
    locked = shutil.copytree(BUNDLED, tmp_path / "locked")
    for path in locked.iterdir():
        path.chmod(0o444)
    locked.chmod(0o555)
    copying.copy(locked, tmp_path / "shop", LIBRARY.procedures, "0.1.0")
    for path in (tmp_path / "shop").rglob("*"):
        assert path.is_dir() or path.stat().st_mode & 0o200
    locked.chmod(0o755)


def test_a_copy_that_cannot_be_finished_is_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk leaves neither half a folder nor a leftover."""

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("assistant.loading.copying._write_all", full)
    with pytest.raises(UsageProblem, match="No space left"):
        copying.copy(BUNDLED, tmp_path / "shop", LIBRARY.procedures, "0.1.0")
    assert [] == list(tmp_path.iterdir())


def test_a_folder_without_a_list_came_from_nowhere(tmp_path: Path) -> None:
    """A copy made by hand, or by an earlier version, has no origin and is no mistake."""
    assert origin_of(shutil.copytree(BUNDLED, tmp_path / "old")) is None


def test_an_altered_original_is_named(made: Path) -> None:
    """What the shop changed cannot be told from an original that was changed, or is gone."""
    origin = origin_of(made)
    assert origin is not None
    copying.check_originals(made, origin)
    file = made / SHIPPED / "terms.yaml"
    file.write_text("# ours\n", encoding="utf-8")
    with pytest.raises(FileProblem, match=r"terms\.yaml: this is no longer the file"):
        copying.check_originals(made, origin)
    file.unlink()
    with pytest.raises(FileProblem, match=r"terms\.yaml: the copied file is missing"):
        copying.check_originals(made, origin)


names = st.from_regex(r"(grammars/)?[a-z][a-z0-9-]{0,12}\.(yaml|json|jsgf)", fullmatch=True)
sums = st.dictionaries(names, st.from_regex(r"[0-9a-f]{64}", fullmatch=True), min_size=1, max_size=6)
words = st.lists(st.from_regex(r"[a-z][a-z0-9-]{0,9}", fullmatch=True), max_size=4)


@given(st.from_regex(r"[0-9]\.[0-9]{1,2}(\.dev[0-9])?", fullmatch=True), sums, words)
def test_a_list_is_read_back_as_it_was_written(
    version: str, checksums: dict[str, str], left: list[str]
) -> None:
    """Version, checksums and what was left out survive the file."""
    origin = CopiedFrom(version, checksums, tuple(left))
    assert origin == parse_origin(origin.to_bytes(), SUMS)


@given(st.binary(max_size=200))
def test_any_list_is_read_or_refused_with_its_line(data: bytes) -> None:
    """Whatever the file holds, it is a list or a `FileProblem`; no name in it leads out of the folder."""
    try:
        origin = parse_origin(data, SUMS)
    except FileProblem as problem:
        assert str(problem).startswith(SUMS)
        return
    assert not [name for name in origin.sums if ".." in name.split("/") or name.startswith("/")]


@pytest.mark.parametrize("name", ["../terms.yaml", "/etc/passwd", "a/b.yaml", "..", "grammars/../x"])
def test_a_name_that_leads_elsewhere_is_refused(name: str) -> None:
    """A list that came from elsewhere names no file outside the copy."""
    line = f"# bay-assistant 0.1.0\n{'0' * 64}  {name}\n"
    with pytest.raises(FileProblem, match=f"{SUMS}:2: "):
        parse_origin(line.encode(), SUMS)


def test_what_ships_otherwise_is_noticed(made: Path, tmp_path: Path) -> None:
    """A changed, new or removed procedure makes a copy outdated; what it left out does not."""
    origin, grammars = origin_of(made), directory("grammars")
    assert origin is not None
    assert not copying.outdated(origin, BUNDLED, grammars)
    later = shutil.copytree(BUNDLED, tmp_path / "later")
    (later / "README.md").write_text("other words\n", encoding="utf-8")
    assert not copying.outdated(origin, later, grammars)
    (later / "new-one.yaml").write_text("procedure: new-one\n", encoding="utf-8")
    assert copying.outdated(origin, later, grammars)
    assert not copying.outdated(CopiedFrom("1", origin.sums, ("new-one",)), later, grammars)
    (later / "new-one.yaml").unlink()
    (later / "coil-control.yaml").unlink()
    assert copying.outdated(origin, later, grammars)
