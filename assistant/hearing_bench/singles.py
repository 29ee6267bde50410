"""Single words by people out of game and teaching packages: which file holds which word, and ten choices each.

These sets are for measuring only; nothing is trained or chosen with them.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path
from typing import TYPE_CHECKING

import soundfile
import soxr

from assistant.errors import GearProblem, UsageProblem
from assistant.hearing.sound import RATE
from assistant.hearing_bench.mixing import trimmed
from assistant.hearing_bench.reader import opened
from assistant.hearing_bench.speech import recording
from assistant.hearing_bench.wordset import WordSet, dictionary, of_words

if TYPE_CHECKING:
    import random
    from collections.abc import Sequence

    from assistant.grammar.lexicon import Lexicon
    from assistant.hearing_bench.mixing import Signal
    from assistant.hearing_bench.reader import StrictReader


@dataclass(frozen=True)
class SinglesSet:
    """One set of recordings, each of a word or short phrase.

    Attributes:
        name: Row of the report.
        package: Debian package.
        folder: Folder in which it puts them.
        archive: Name of a ZIP file in the folder that holds them; "" for files.
        files: Patterns of their names in folder or archive.
        without: Patterns of names that are no such recordings, or whose words are not known.
        drop: Beginnings and ends of a name that are no part of the word.
        words: Words of the names that do not say them.
        speaker: Who speaks, as far as the package says.
    """

    name: str
    package: str
    folder: Path
    archive: str
    files: tuple[str, ...]
    without: tuple[str, ...]
    drop: tuple[str, ...]
    words: Mapping[str, str] = field(hash=False)
    speaker: str


@dataclass(frozen=True)
class Single:
    """One recording: its word or short phrase, and its name in folder or archive."""

    words: str
    name: str


def read_sets(path: Path) -> tuple[SinglesSet, ...]:
    """The sets of a table.

    Raises:
        FileProblem: The file cannot be read, or a part is missing, unknown, or of the wrong kind.
    """
    reader = opened(path)
    found = reader.each("sets", _set)
    reader.end()
    return found


def _set(reader: StrictReader) -> SinglesSet:
    return SinglesSet(
        reader.text("name"),
        reader.text("package"),
        Path(reader.text("folder")),
        reader.text("archive") if reader.has("archive") else "",
        reader.texts("files"),
        reader.texts("without") if reader.has("without") else (),
        reader.texts("drop") if reader.has("drop") else (),
        reader.map("words", lambda r, key: r.text(key)) if reader.has("words") else {},
        reader.text("speaker"),
    )


def singles_of(one: SinglesSet) -> list[Single]:
    """The recordings of a set that are installed, a word only once, in the order of their names.

    Raises:
        GearProblem: The package is not installed; the sentence names it.
    """
    names = _names(one)
    if not names:
        raise GearProblem(
            f"The recordings '{one.name}' are left out: none of them is in {one.folder} "
            f"(Debian package: {one.package})."
        )
    found: dict[str, Single] = {}
    for name in names:
        words = one.words.get(_stem(name)) or words_of_name(_stem(name), one.drop)
        found.setdefault(words, Single(words, name))
    return list(found.values())


def _stem(name: str) -> str:
    return Path(name).name.rsplit(".", 1)[0]


def _names(one: SinglesSet) -> list[str]:
    try:
        if one.archive:
            with zipfile.ZipFile(one.folder / one.archive) as archive:
                every = archive.namelist()
        else:
            every = [str(path.relative_to(one.folder)) for path in one.folder.rglob("*") if path.is_file()]
    except (OSError, zipfile.BadZipFile):
        return []
    return sorted(
        name
        for name in every
        if any(fnmatchcase(name, pattern) for pattern in one.files)
        and not any(fnmatchcase(name, pattern) for pattern in one.without)
    )


def words_of_name(stem: str, drop: Sequence[str] = ()) -> str:
    """The words that the name of a file says: "LeftDontCut" is "left don't cut", "tv_car" without "tv_" is "car"."""
    for part in drop:
        stem = stem.removeprefix(part).removesuffix(part)
    words = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", stem).replace("_", " ").lower().split()
    return " ".join("don't" if word == "dont" else word for word in words)


def sound_of(one: SinglesSet, single: Single) -> Signal:
    """A recording, trimmed to its speech.

    Raises:
        UsageProblem: It cannot be read.
    """
    if not one.archive:
        return recording(one.folder / single.name)
    try:
        with zipfile.ZipFile(one.folder / one.archive) as archive:
            data = archive.read(single.name)
        sound, rate = soundfile.read(io.BytesIO(data), dtype="float64", always_2d=True)
    except (OSError, KeyError, zipfile.BadZipFile, soundfile.LibsndfileError) as error:
        raise UsageProblem(
            f"{single.name} in {one.folder / one.archive} cannot be read ({error})."
        ) from error
    return trimmed(soxr.resample(sound.mean(axis=1), rate, RATE))


def ten_choices(
    spoken: str, others: Sequence[str], count: int, draw: random.Random, *, with_it: bool
) -> list[str]:
    """So many different choices out of a set, with the spoken words or without them.

    Raises:
        ValueError: The set has too few words.
    """
    left = [one for one in others if one != spoken]
    wanted = count - with_it
    if len(left) < wanted:
        raise ValueError(f"a set of {len(others)} has no {count} choices")
    chosen = draw.sample(left, wanted)
    return sorted([*chosen, spoken] if with_it else chosen)


def grammar_of(choices: Sequence[str], own: Lexicon, path: Path) -> WordSet:
    """The grammar of these words and phrases.

    Raises:
        GearProblem: No dictionary has a word.
    """
    text = of_words(choices)
    words = {word for choice in choices for word in choice.split()}
    return WordSet(text, dictionary(words, own), {}, path, 0)
