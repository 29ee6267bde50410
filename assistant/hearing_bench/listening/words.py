"""Scores what a listener wrote down against what was said.

Both are brought to one spelling first, by the same rules for every voice and every listener: a listener that writes
"12.4 V" heard "twelve point four volts" rightly. Nothing that sounds different is made the same.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.core.values.units import UNIT_WORDS
from assistant.grammar.numbers import in_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

_NUMBER = re.compile(r"\d+(?:,\d{3})+(?:\.\d+)?|\d*\.\d+|\d+")
_WORD = re.compile(r"[a-z]+(?:'[a-z]+)?")

_SIGNS = {"%": "percent", "°": "degrees", "&": "and", "#": "number", "+": "plus"}
_SHORT_UNITS = {unit: UNIT_WORDS[unit] for unit in ("mV", "V", "A", "ms", "s", "km", "rpm")} | {
    "kΩ": UNIT_WORDS["kilohm"],
    "MΩ": UNIT_WORDS["megohm"],
    "Ω": UNIT_WORDS["ohm"],
}
"""Signs of units behind a number, with the words for one and for more; the Greek letter is both of its signs."""

_SAME = {"ok": "okay", "amperes": "amps", "ampere": "amp", "kilometres": "kilometers"}
"""Two spellings of one spoken word, or the long and the short form that a writer chooses between."""

_IS = {"it's", "that's", "what's", "who's", "where's", "there's", "here's", "how's", "he's", "she's"}
_ENDINGS = {"n't": "not", "'re": "are", "'ll": "will", "'ve": "have", "'m": "am"}
_WHOLE = {"can't": ("can", "not"), "won't": ("will", "not"), "let's": ("let", "us")}
_JOINED = 5
"""Most words that a listener writes as one: "key on" as "keyon", five letters that were spelled."""


def as_read(sentence: str) -> list[str]:
    """The words of a sentence, as read aloud: "12.4 volts" is twelve, point, four, volts."""
    spelled = sentence.replace("\u2019", "'").replace("\u2126", "Ω")
    for sign, (one, more) in _SHORT_UNITS.items():
        spelled = re.sub(rf"(?<![\d.])1\s*{sign}(?![A-Za-z])", f"1 {one}", spelled)
        spelled = re.sub(rf"(?<=\d)\s*{sign}(?![A-Za-z])", f" {more}", spelled)
    for sign, word in _SIGNS.items():
        spelled = spelled.replace(sign, f" {word} ")
    return _WORD.findall(_NUMBER.sub(_spelled_number, spelled.lower()))


def _spelled_number(found: re.Match[str]) -> str:
    digits = found.group().replace(",", "")
    try:
        return f" {in_words(Decimal(digits))} "
    except ValueError:  # too long to be a reading: digit by digit
        return " ".join(
            ["", *(in_words(Decimal(digit)) if digit != "." else "point" for digit in digits), ""]
        )


def canonical(words: Iterable[str]) -> list[str]:
    """The same words in one spelling.

    "Don't" and "do not" are one, and so are "a hundred" and "one hundred", "two hundred and five" and "two hundred
    five", "zero point five" and "point five"; an apostrophe that nobody hears goes ("coil's" and "coils").
    """
    plain: list[str] = []
    for word in words:
        plain += _without_contraction(_SAME.get(word, word))
    out: list[str] = []
    for place, word in enumerate(plain):
        after = plain[place + 1] if place + 1 < len(plain) else ""
        before = out[-1] if out else ""
        if word == "a" and after in ("hundred", "thousand"):
            out.append("one")
        elif (word == "and" and before in ("hundred", "thousand") and after in NUMBER_WORDS) or (
            word == "zero" and after == "point"
        ):
            continue
        else:
            out.append(word)
    return out


def _without_contraction(word: str) -> list[str]:
    if word in _WHOLE:
        return list(_WHOLE[word])
    if word in _IS:
        return [word.partition("'")[0], "is"]
    for ending, whole in _ENDINGS.items():
        if word.endswith(ending) and len(word) > len(ending):
            return [word.removesuffix(ending), whole]
    return [word.replace("'", "")]


NUMBER_WORDS = frozenset(
    [
        *(in_words(Decimal(number)) for number in (*range(20), *range(20, 100, 10))),
        *("hundred", "thousand", "point", "half"),
    ]
)
"""Every word of a spoken number."""

UNIT_NAMES = frozenset(word for forms in UNIT_WORDS.values() for form in forms for word in form.split())
"""Every word of a unit as it is spoken."""


@dataclass(frozen=True)
class Scored:
    """What a listener got right.

    Attributes:
        errors: Wrong, missing and extra words: the least number of changes (Levenshtein).
        right: Whether each said word was heard.
    """

    errors: int
    right: tuple[bool, ...]


def score(
    said: Sequence[str], heard: Sequence[str], sound: Callable[[str], str] = lambda word: word
) -> Scored:
    """Compare words; both in `canonical` spelling.

    Two words of one sound are one ("brake" and "break"): nobody can hear which it was.
    One written word that is several said words without the spaces between them, or the reverse, is right.
    Of several ways with the fewest changes the one with the most right words counts.

    Args:
        said: The words that were said.
        heard: The words that were written down.
        sound: The sound of a word; without it, spelling decides.
    """
    sounds = [sound(word) for word in said], [sound(word) for word in heard]
    best: list[list[tuple[int, int]]] = [[(0, 0)] * (len(heard) + 1) for _ in range(len(said) + 1)]
    came: dict[tuple[int, int], tuple[int, int]] = {}
    for i in range(len(said) + 1):
        for j in range(len(heard) + 1):
            if i or j:
                best[i][j], came[i, j] = min(_ways(best, (said, heard), sounds, i, j))
    right = [False] * len(said)
    i, j = len(said), len(heard)
    while i or j:
        before_i, before_j = came[i, j]
        if best[i][j][0] == best[before_i][before_j][0]:
            right[before_i:i] = [True] * (i - before_i)
        i, j = before_i, before_j
    return Scored(best[-1][-1][0], tuple(right))


def _ways(
    best: list[list[tuple[int, int]]],
    words: tuple[Sequence[str], Sequence[str]],
    sounds: tuple[Sequence[str], Sequence[str]],
    i: int,
    j: int,
) -> Iterable[tuple[tuple[int, int], tuple[int, int]]]:
    """Cost (changes, minus right words) of each last move to this place, and where it comes from."""
    said, heard = words

    def after(from_i: int, from_j: int, changes: int, right: int) -> tuple[tuple[int, int], tuple[int, int]]:
        cost = best[from_i][from_j]
        return (cost[0] + changes, cost[1] - right), (from_i, from_j)

    if i:
        yield after(i - 1, j, 1, 0)
    if j:
        yield after(i, j - 1, 1, 0)
    if i and j:
        same = said[i - 1] == heard[j - 1] or sounds[0][i - 1] == sounds[1][j - 1]
        yield after(i - 1, j - 1, int(not same), int(same))
        for count in range(2, _JOINED + 1):
            if i >= count and "".join(said[i - count : i]) == heard[j - 1]:
                yield after(i - count, j - 1, 0, count)
            if j >= count and said[i - 1] == "".join(heard[j - count : j]):
                yield after(i - 1, j - count, 0, 1)
