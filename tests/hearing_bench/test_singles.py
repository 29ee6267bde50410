"""Single words by people, with made stand-ins for the packages: their words, their sound, and the choices."""

from __future__ import annotations

import io
import random
import zipfile
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, strategies as st

from assistant import resources
from assistant.errors import FileProblem, GearProblem, UsageProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.sound import RATE
from assistant.hearing_bench.singles import (
    SinglesSet,
    grammar_of,
    read_sets,
    singles_of,
    sound_of,
    ten_choices,
    words_of_name,
)

LEXICON = GrammarSet.load(resources.directory("grammars")).lexicon
TONE = 0.3 * np.sin(2 * np.pi * 300 * np.arange(22050 // 2) / 22050)
"""Half a second at 22.05 kHz in place of a word."""


def chance(seed: int) -> random.Random:
    return random.Random(seed)  # noqa: S311  a test


def stand_in(folder: Path, **more: object) -> SinglesSet:
    parts = {
        "name": "words",
        "package": "some-package",
        "folder": folder,
        "archive": "",
        "files": ("*.wav",),
        "without": (),
        "drop": ("tv_",),
        "words": {},
        "speaker": "one person",
    }
    return SinglesSet(**(parts | more))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("tv_car", "car"),
        ("LeftDontCut", "left don't cut"),
        ("Water", "water"),
        ("frog_desc", "frog"),
        ("palm_tree", "palm tree"),
    ],
)
def test_a_name_says_its_words(name: str, words: str) -> None:
    """Capitals and low lines part words; a name's beginning or end that is no word is dropped."""
    assert words_of_name(name, ("tv_", "_desc")) == words


def test_files_are_found_and_named_by_the_table_where_the_name_says_another_word(tmp_path: Path) -> None:
    """Each word once, without what the table leaves out."""
    for name in ("tv_car", "tree", "sphynx", "noise"):
        soundfile.write(tmp_path / f"{name}.wav", TONE, 22050)
    one = stand_in(tmp_path, without=("noise.*",), words={"sphynx": "sphinx"})
    assert [single.words for single in singles_of(one)] == ["sphinx", "tree", "car"]
    assert len(sound_of(one, singles_of(one)[0])) == pytest.approx(RATE / 2, abs=RATE * 0.03)


def test_an_archive_is_read_like_a_folder(tmp_path: Path) -> None:
    """The sound comes from inside the ZIP file, at the rate of the recogniser."""
    sound = io.BytesIO()
    soundfile.write(sound, TONE, 22050, format="WAV")
    with zipfile.ZipFile(tmp_path / "data.zip", "w") as archive:
        archive.writestr("voice/LeftLong.wav", sound.getvalue())
        archive.writestr("voice/damaged.wav", b"nothing")
    one = stand_in(tmp_path, archive="data.zip", files=("voice/*.wav",))
    damaged, single = sorted(singles_of(one), key=lambda each: each.words)
    assert single.words == "left long"
    assert len(sound_of(one, single)) == pytest.approx(RATE / 2, abs=RATE * 0.03)
    with pytest.raises(UsageProblem, match="damaged"):
        sound_of(one, damaged)


@pytest.mark.parametrize("archive", ["", "data.zip"])
def test_a_package_that_is_not_installed_is_named(tmp_path: Path, archive: str) -> None:
    """The sentence says what to install."""
    with pytest.raises(GearProblem, match="Debian package: some-package"):
        singles_of(stand_in(tmp_path / "none", archive=archive))


@given(st.integers(0, 11), st.booleans(), st.integers(0, 100))
def test_choices_are_different_words_with_the_spoken_one_or_without_it(
    spoken: int, with_it: bool, seed: int
) -> None:
    """Ten of twelve words, the spoken one among them exactly if it shall be."""
    words = [f"word{number}" for number in range(12)]
    chosen = ten_choices(words[spoken], words, 10, chance(seed), with_it=with_it)
    assert len(set(chosen)) == len(chosen) == 10
    assert set(chosen) <= set(words)
    assert (words[spoken] in chosen) == with_it


def test_a_set_with_too_few_words_is_refused() -> None:
    """Ten choices cannot come from ten words without the spoken one."""
    with pytest.raises(ValueError, match="no 3 choices"):
        ten_choices("one", ["one", "two", "three"], 3, chance(1), with_it=False)


def test_only_the_choices_are_phrases() -> None:
    """A short phrase is one choice; a word that is none means nothing."""
    grammar = grammar_of(["left long", "water"], LEXICON, Path("words.json"))
    assert grammar.parse("left long") is not None
    assert grammar.parse("left") is None
    assert grammar.parse("snow") is None


def test_the_bundled_table_names_every_set_once() -> None:
    """Rows of the report are told apart by these names."""
    sets = read_sets(resources.directory("audio_fixtures") / "people-words.json")
    assert len({one.name for one in sets}) == len(sets) >= 8
    assert all(one.package and one.files for one in sets)


def test_a_table_with_an_unknown_part_is_refused(tmp_path: Path) -> None:
    """A slip of the pen is named and not passed over."""
    path = tmp_path / "words.json"
    path.write_text(
        '{"sets": [{"name": "a", "package": "b", "folder": "/c", "files": ["*"], "speaker": "d", "x": 1}]}'
    )
    with pytest.raises(FileProblem, match="'x' means nothing here"):
        read_sets(path)
