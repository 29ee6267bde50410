"""Scoring of what a listener wrote down: spelling, the least number of changes, and which words were heard."""

from __future__ import annotations

import itertools
from decimal import Decimal

import pytest
from hypothesis import given, strategies as st

from assistant.core.words.sentences import count_words
from assistant.grammar.numbers import in_words
from assistant.hearing_bench.listening.words import as_read, canonical, score


def spelled(text: str) -> list[str]:
    return canonical(as_read(text))


def test_a_sentence_is_compared_as_it_is_read_aloud() -> None:
    """Numbers as their words, hyphens as two words, apostrophes kept, signs of punctuation dropped."""
    assert ["twelve", "point", "four", "volts"] == as_read("12.4 volts.")
    assert ["back", "probe", "the", "coil's", "plug"] == as_read("Back-probe: the coil's plug!")


@pytest.mark.parametrize("number", ["0", "7", "12.4", "0.25", "45", "60", "99", "9.615"])
def test_the_lint_counts_numbers_as_they_are_read(number: str) -> None:
    """Two ways to the same count: the lint's, and the number grammar's words ("0.25" may drop its zero)."""
    words = len(in_words(Decimal(number)).split()) + (number.startswith("0."))
    assert words == count_words(number)


SAME = (
    ("12.4 V", "12.4V", "twelve point four volts", "Twelve point four volts."),
    ("0.25 ohms", ".25 Ω", "0.25 \u2126", "zero point two five ohms", "point two five ohms"),
    ("Okay.", "OK", "ok!", "okay"),
    ("1 V", "one volt"),
    ("15 A fuse", "fifteen amps fuse"),
    ("1,250", "1250", "one thousand two hundred and fifty", "one thousand two hundred fifty"),
    ("a hundred", "100", "one hundred"),
    ("don't crank", "Do not crank!", "do not crank"),
    ("what's the VIN", "What is the vin?"),
    ("the coil's plug", "the coils plug", "The coil\u2019s plug."),
    ("50 %", "50%", "fifty percent"),
    ("3 kΩ", "three kilohms"),
    ("400 mV", "four hundred millivolts"),
)


@pytest.mark.parametrize(
    ("one", "other"), [pair for group in SAME for pair in itertools.combinations(group, 2)]
)
def test_two_spellings_of_the_same_words_are_the_same(one: str, other: str) -> None:
    """A listener may write numbers, units and contractions in any of the usual ways; it was heard rightly."""
    assert spelled(one) == spelled(other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("12.4 volts", "12.5 volts"),
        ("12.4 volts", "12.4 millivolts"),
        ("1 volt", "1 volts"),
        ("key on", "key off"),
        ("do crank", "don't crank"),
        ("steady", "ready"),
        ("point five", "five"),
        ("feed side", "feed site"),
    ],
)
def test_what_sounds_different_stays_different(one: str, other: str) -> None:
    """The rules of spelling never make two readings or two orders the same."""
    assert spelled(one) != spelled(other)
    assert score(spelled(one), spelled(other)).errors


@given(st.text())
def test_whatever_a_listener_writes_has_words(text: str) -> None:
    """A recogniser in noise writes anything at all, also numbers of fifty digits: that is scored, never refused."""
    words = spelled(text)
    assert score(words, words).errors == 0
    assert all(score(words, words).right)


def test_errors_are_the_least_number_of_changes() -> None:
    """Levenshtein on words: one wrong, one missing, one too many (worked out by hand)."""
    said = ["feed", "side", "of", "the", "coil"]
    assert 0 == score(said, said).errors
    assert 1 == score(said, ["feed", "site", "of", "the", "coil"]).errors
    assert 1 == score(said, ["feed", "side", "of", "coil"]).errors
    assert 1 == score(said, ["the", "feed", "side", "of", "the", "coil"]).errors
    assert 5 == score(said, []).errors


WORDS = st.lists(st.sampled_from("on off key coil feed".split()), max_size=7)  # noqa: SIM905


@given(WORDS, WORDS)
def test_errors_are_levenshteins(said: list[str], heard: list[str]) -> None:
    """Without joined words the count is the textbook's recursion (Levenshtein 1966), and no more than both lengths."""

    def distance(a: int, b: int) -> int:
        if not a or not b:
            return a + b
        swap = distance(a - 1, b - 1) + (said[a - 1] != heard[b - 1])
        return (
            min(swap, distance(a - 1, b) + 1, distance(a, b - 1) + 1) if said[a - 1] != heard[b - 1] else swap
        )

    found = score(said, heard)
    assert found.errors == distance(len(said), len(heard))
    assert sum(found.right) <= min(len(said), len(heard))
    assert found.errors == score(heard, said).errors


def test_right_words_are_those_that_were_heard() -> None:
    """Which words were right is known one by one, so that keywords can be counted."""
    found = score(["key", "off", "at", "the", "coil"], ["key", "of", "at", "coil"])
    assert (True, False, True, False, True) == found.right
    assert 2 == found.errors


def test_words_written_together_are_right() -> None:
    """One word for two or two for one is right: "keyon" for "key on", "back probe" for "backprobe", "AC" for "A C"."""
    assert 0 == score(["key", "on"], ["keyon"]).errors
    assert 0 == score(["backprobe", "it"], ["back", "probe", "it"]).errors
    assert 0 == score(spelled("A-C volts"), spelled("AC volts")).errors
    assert (True, True, True) == score(["a", "c", "volts"], ["ac", "volts"]).right
    assert 1 == score(["key", "on"], ["keyoff"]).errors - 1


def test_two_words_of_one_sound_are_one() -> None:
    """Nobody hears whether "brake" or "break" was said; without a dictionary spelling decides."""
    sounds = {"brake": "B R EY K", "break": "B R EY K"}
    assert 0 == score(["brake", "set"], ["break", "set"], lambda word: sounds.get(word, word)).errors
    assert 1 == score(["brake", "set"], ["break", "set"]).errors
