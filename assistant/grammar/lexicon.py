"""A small pronouncing lexicon, and the distance between two pronunciations.

The lexicon is a text file, one pronunciation a line: the word, then its phones (ARPAbet without stress, the
39 phones of the CMU pronouncing dictionary).
A word with several pronunciations has several lines; ``#`` begins a comment.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from assistant.errors import FileProblem

if TYPE_CHECKING:
    from collections.abc import Sequence

Pronunciation: TypeAlias = tuple[str, ...]

VOWELS = frozenset(["AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"])
"""Each vowel is one syllable."""

CONSONANTS: dict[str, tuple[str, str, bool]] = {
    "B": ("stop", "lips", True),
    "P": ("stop", "lips", False),
    "D": ("stop", "ridge", True),
    "T": ("stop", "ridge", False),
    "G": ("stop", "velum", True),
    "K": ("stop", "velum", False),
    "CH": ("affricate", "palate", False),
    "JH": ("affricate", "palate", True),
    "V": ("fricative", "lips", True),
    "F": ("fricative", "lips", False),
    "DH": ("fricative", "teeth", True),
    "TH": ("fricative", "teeth", False),
    "Z": ("fricative", "ridge", True),
    "S": ("fricative", "ridge", False),
    "ZH": ("fricative", "palate", True),
    "SH": ("fricative", "palate", False),
    "HH": ("fricative", "throat", False),
    "M": ("nasal", "lips", True),
    "N": ("nasal", "ridge", True),
    "NG": ("nasal", "velum", True),
    "L": ("glide", "ridge", True),
    "R": ("glide", "palate", True),
    "W": ("glide", "lips", True),
    "Y": ("glide", "palate", True),
}
"""Manner, place and voicing of each consonant (the textbook chart of English consonants)."""

PHONES = VOWELS | CONSONANTS.keys()

_NEAR_VOWELS = frozenset(
    frozenset(pair.split())
    for pair in (
        "IY IH", "IH EH", "EH AE", "AE AA", "AA AO", "AA AH", "AO OW", "UH UW", "AH UH", "AH ER", "AH IH",
        "AH EH", "EY EH", "AY AA", "AW AA", "OW UH", "OY AO", "ER UH", "EY IY",
    )
)  # fmt: skip

WEAK = frozenset({"AH", "IH", "HH"})
"""Phones that speakers easily swallow."""


MOST_WORDS = 500_000
"""Largest number of words in a lexicon; a whole dictionary of English has about 130,000."""

MOST_LETTERS = 60
"""Largest number of letters in one word."""

MOST_PHONES = 60
"""Largest number of phones in one word."""

MOST_PRONUNCIATIONS = 20
"""Largest number of pronunciations of one word."""


class Lexicon:
    """Pronunciations of words."""

    def __init__(self, entries: dict[str, tuple[Pronunciation, ...]], path: Path) -> None:
        self.entries = entries
        self.path = path

    def pronunciations(self, word: str) -> tuple[Pronunciation, ...]:
        """All pronunciations of a word, the usual one first; empty for a word that is not in the lexicon."""
        return self.entries.get(word, ())

    def __contains__(self, word: object) -> bool:
        return word in self.entries

    def is_short(self, word: str) -> bool:
        """Whether a word can be lost in noise, because it has, or can have, only one syllable.

        A word without pronunciation counts as short, to be on the safe side.
        """
        spoken = self.pronunciations(word)
        return not spoken or any(sum(phone in VOWELS for phone in phones) <= 1 for phones in spoken)

    def phones(self, words: Sequence[str]) -> Pronunciation | None:
        """The usual pronunciation of a whole phrase; None if a word is not in the lexicon."""
        if not all(word in self for word in words):
            return None
        return tuple(phone for word in words for phone in self.entries[word][0])


def parse_lexicon(data: bytes, path: Path | str) -> Lexicon:
    """Read a pronouncing lexicon.

    Raises:
        FileProblem: A line is not a word with ARPAbet phones, or appears twice.
    """
    path = Path(path)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = 1 + data[: error.start].count(b"\n")
        raise FileProblem(path, line, "the text is not UTF-8", "Save the file as UTF-8") from error
    entries: dict[str, tuple[Pronunciation, ...]] = {}
    for number, content in enumerate(text.split("\n"), 1):
        word, *phones = content.partition("#")[0].split() or ("",)
        if not word:
            continue
        unknown = [phone for phone in phones if phone not in PHONES]
        if unknown or not phones:
            raise FileProblem(
                path,
                number,
                f"'{unknown[0][:MOST_LETTERS]}' is not an ARPAbet phone"
                if unknown
                else f"'{word[:MOST_LETTERS]}' has no phones",
                "A line is like 'amps  AE M P S', without stress marks",
            )
        if len(phones) > MOST_PHONES or len(word) > MOST_LETTERS:
            raise FileProblem(
                path,
                number,
                f"this word has {len(word)} letters and {len(phones)} phones",
                f"At most {MOST_LETTERS} letters and {MOST_PHONES} phones",
            )
        if len(entries.get(word, ())) >= MOST_PRONUNCIATIONS:
            raise FileProblem(
                path,
                number,
                f"'{word}' has more than {MOST_PRONUNCIATIONS} pronunciations",
                "Keep the usual ones",
            )
        if len(entries) >= MOST_WORDS:
            raise FileProblem(
                path, number, f"the lexicon has more than {MOST_WORDS} words", "Keep those of the grammars"
            )
        if tuple(phones) in entries.get(word, ()):
            raise FileProblem(path, number, f"'{word}' has this pronunciation already", "Remove the line")
        entries[word] = (*entries.get(word, ()), tuple(phones))
    return Lexicon(entries, path)


# --- distance -------------------------------------------------------------------------------------


def substitution(one: str, other: str) -> float:
    """Difference of two phones, 0 to 1 (our judgement, without a source); voicing alone differs least."""
    if one == other:
        return 0.0
    if one in VOWELS and other in VOWELS:
        return 0.4 if frozenset((one, other)) in _NEAR_VOWELS else 0.8
    if one in VOWELS or other in VOWELS:
        return 1.0
    manner, place, _ = CONSONANTS[one]
    other_manner, other_place, _ = CONSONANTS[other]
    if (manner, place) == (other_manner, other_place):
        return 0.4
    return 0.7 if manner == other_manner or place == other_place else 1.0


def omission(phone: str) -> float:
    """Cost of losing a phone, or of hearing one too many."""
    return 0.6 if phone in WEAK else 1.0


CHEAPEST = min(omission(phone) for phone in PHONES)
"""Smallest cost that an extra or missing phone adds to a distance."""

_OMISSION = {phone: omission(phone) for phone in PHONES}
_SUBSTITUTION = {one: {other: substitution(one, other) for other in PHONES} for one in PHONES}


def next_row(row: list[float], phone: str, target: Pronunciation) -> list[float]:
    """One step of the weighted edit distance: the row for a spoken prefix that is longer by `phone`."""
    dropped, replaced = _OMISSION[phone], _SUBSTITUTION[phone]
    best = row[0] + dropped
    out = [best]
    for index, wanted in enumerate(target):
        best = min(row[index + 1] + dropped, best + _OMISSION[wanted], row[index] + replaced[wanted])
        out.append(best)
    return out


def first_row(target: Pronunciation) -> list[float]:
    """The row for an empty spoken prefix."""
    row = [0.0]
    for phone in target:
        row.append(row[-1] + _OMISSION[phone])
    return row


def distance(one: Pronunciation, other: Pronunciation) -> float:
    """Weighted edit distance of two pronunciations; 1.0 is one quite different phone."""
    row = first_row(other)
    for phone in one:
        row = next_row(row, phone, other)
    return row[-1]
