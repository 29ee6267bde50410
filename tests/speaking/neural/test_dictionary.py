"""The packed lexicon: what is packed is found again, and a damaged file is refused."""

from __future__ import annotations

import gzip
import json
import zipfile
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from assistant.errors import GearProblem, UsageProblem
from assistant.speaking.neural.dictionary import FILE, USUAL, Dictionary
from assistant.speaking.neural.packing import IN_A_BLOCK, PARTS, main, packed, read
from assistant.speaking.neural.symbols import SYMBOLS

LARGEST = 1_400_000
"""Bytes of the packed file, so that the wheel stays under 27 MB."""

words = st.text(st.sampled_from("abcdefgxyzABZ'-"), min_size=1, max_size=9)
sounds = st.text(st.sampled_from("kˈYlˌɹɪzᵊntəθ"), max_size=12)
entries = st.dictionaries(
    words,
    sounds | st.fixed_dictionaries({USUAL: sounds}, optional={"NOUN": st.none() | sounds, "VERB": sounds}),
    min_size=1,
    max_size=40,
)


def unpacked(folder: Path, data: bytes) -> Dictionary:
    """The dictionary of these bytes."""
    path = folder / "pronunciations.packed"
    path.write_bytes(data)
    return Dictionary(path)


@given(entries=entries)
def test_what_is_packed_is_found(
    entries: dict[str, object], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Every word gives back its pronunciations, of every kind; None is packed as an empty one."""
    found = unpacked(tmp_path_factory.mktemp("packed"), packed(entries, {}))  # type: ignore[arg-type]
    for word, said in entries.items():
        expected = {USUAL: said} if isinstance(said, str) else {k: v or "" for k, v in said.items()}  # type: ignore[attr-defined]
        assert expected == found.find(word)


@given(entries=entries, word=st.text(max_size=10))
def test_what_is_not_packed_is_not_found(
    entries: dict[str, object], word: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Any other text, of whatever letters, is in no block."""
    found = unpacked(tmp_path_factory.mktemp("packed"), packed(entries, {}))  # type: ignore[arg-type]
    assert (word in entries) == (found.find(word) is not None)


def test_words_at_the_edges_of_blocks_are_found(tmp_path: Path) -> None:
    """The first and the last word of every block, and what lies between two blocks."""
    every = {f"w{number:05d}": f"ˈA{number % 7 * 't'}" for number in range(3 * IN_A_BLOCK + 1)}
    found = unpacked(tmp_path, packed(every, {}))
    assert all(found.find(word) == {USUAL: said} for word, said in every.items())
    assert found.find(f"w{IN_A_BLOCK - 1:05d}a") is None


def test_a_damaged_or_missing_file_is_refused(tmp_path: Path) -> None:
    """A changed byte, a cut file, another version, something else or nothing: a sentence that says what to do."""
    good = packed({"coil": "kˈYl"}, {})
    for bad in (
        good[:-1],
        good[:-3] + b"abc",
        good.replace(b'"version": 1', b'"version": 9'),
        b"",
        b"\n",
        b"{}\n",
    ):
        with pytest.raises(GearProblem, match="Install bay-assistant again"):
            unpacked(tmp_path, bad)
    with pytest.raises(GearProblem, match="Install bay-assistant again"):
        Dictionary(tmp_path / "none")


def test_the_shipped_file_is_small_and_known_to_the_voice() -> None:
    """It fits the wheel, holds misaki's 183,561 words, and writes nothing that the network has no number for."""
    data = FILE.read_bytes()
    head = json.loads(data.partition(b"\n")[0])
    assert len(data) < LARGEST
    assert head["words"] == 183_561
    assert set(head["symbols"]) <= set(SYMBOLS)


def test_kinds_of_words_are_kept() -> None:
    """Two readings of one spelling, letters for initials, names with capitals (entries of misaki 0.9.4)."""
    found = Dictionary()
    assert found.find("close") == {USUAL: "klˈOs", "NOUN": "klˈOz", "VERB": "klˈOz"}
    assert found.find("ABS") == {USUAL: "ˈæbz", "NOUN": ""}
    assert found.find("Celsius") == {USUAL: "sˈɛlsiəs"}


def wheel(path: Path) -> Path:
    """A wheel with two small lexicons, of which gold corrects silver."""
    silver, gold = {"coil": "kˈɔl", "lamp": "lˈæmp"}, {"coil": "kˈYl"}
    with zipfile.ZipFile(path, "w") as file:
        for part, lexicon in zip(PARTS, (silver, gold), strict=True):
            file.writestr(part, gzip.compress(json.dumps(lexicon).encode()))
    return path


def test_gold_wins_over_silver(tmp_path: Path) -> None:
    """The checked part of the lexicon wins, in a wheel as in a folder, and each source is named with its SHA-256."""
    path = wheel(tmp_path / "voice.whl")
    with zipfile.ZipFile(path) as file:
        file.extractall(tmp_path / "folder")
    for source in (path, tmp_path / "folder"):
        found, sources = read(source)
        assert found == {"coil": "kˈYl", "lamp": "lˈæmp"}
        assert [len(digest) for digest in sources.values()] == [64, 64]


def test_something_else_than_a_wheel_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is no wheel, a folder without the lexicons, and no name at all."""
    (tmp_path / "no.whl").write_bytes(b"no")
    for source in (tmp_path / "no.whl", tmp_path, tmp_path / "none"):
        with pytest.raises(UsageProblem, match="is not a wheel"):
            read(source)
    assert main([]) == 2
    assert main([str(tmp_path)]) == 2
    assert "is not a wheel" in capsys.readouterr().err
