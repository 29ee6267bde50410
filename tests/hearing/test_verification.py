"""How well an answer's phones explain the sound."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, strategies as st

from assistant import resources
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing import verification
from assistant.hearing.acoustics import OUTPUTS, PHONE_NUMBERS

LEXICON = GrammarSet.load(resources.directory("grammars")).lexicon


def steps(seed: int, count: int, outputs: int = 4) -> np.ndarray:
    """Probabilities of so many steps, all but the first outputs impossible."""
    found = np.zeros((count, OUTPUTS))
    found[:, :outputs] = np.random.default_rng(seed).dirichlet(np.ones(outputs), count)
    return found


def paths(probabilities: np.ndarray, outputs: int = 4) -> dict[tuple[int, ...], float]:
    """By hand: every path, its phones (equal ones in a row are one, blanks go), and their summed probability."""
    totals: dict[tuple[int, ...], float] = {}
    for path in itertools.product(range(outputs), repeat=len(probabilities)):
        phones = tuple(k for at, k in enumerate(path) if k and (at == 0 or path[at - 1] != k))
        share = float(np.prod([probabilities[at, k] for at, k in enumerate(path)]))
        totals[phones] = totals.get(phones, 0.0) + share
    return totals


@given(st.integers(0, 10_000), st.integers(1, 6))
def test_the_sum_is_that_over_all_paths(seed: int, count: int) -> None:
    """Outside check by definition (Graves et al. 2006): every path counted one by one, for every phone sequence."""
    probabilities = steps(seed, count)
    totals = paths(probabilities)
    phrases = [phones for phones in totals if phones]
    found = np.exp(verification.forward(probabilities, phrases))
    assert found == pytest.approx([totals[phones] for phones in phrases], rel=1e-6)


def test_long_sound_does_not_underflow() -> None:
    """A minute of sound has a finite sum."""
    probabilities = verification.floor(np.log(steps(1, 2000) + 1e-9).astype(np.float32))
    assert np.isfinite(verification.forward(probabilities, [(1, 2, 3) * 30])).all()


@given(st.integers(0, 10_000), st.lists(st.integers(1, 3), min_size=1, max_size=4))
def test_the_alignment_speaks_the_phones_in_order(seed: int, phones: list[int]) -> None:
    """It holds every phone once, in order, with a blank between equal ones, and is None if there is no room."""
    path = verification.aligned(steps(seed, 6) + 1e-9, tuple(phones))
    needed = len(phones) + sum(a == b for a, b in itertools.pairwise(phones))
    if needed > 6:
        assert path is None
        return
    assert path is not None
    assert [k for k, _ in itertools.groupby(path) if k >= 0] == list(range(len(phones)))
    for before, after in itertools.pairwise(path):
        if before >= 0 and after >= 0 and before != after:
            assert phones[before] != phones[after]


def test_edits_are_counted_by_hand() -> None:
    """One phone changed, one added, one left out."""
    assert 0 == verification.edits([1, 2, 3], [1, 2, 3])
    assert 1 == verification.edits([1, 2, 3], [1, 5, 3])
    assert 2 == verification.edits([1, 2], [2, 3])
    assert 3 == verification.edits([], [1, 2, 3])


@given(st.integers(0, 10_000), st.integers(1, 5))
def test_the_background_is_the_sum_over_all_phone_sequences(seed: int, count: int) -> None:
    """By definition: every path counted one by one, each phone sequence weighed by its pairs."""
    probabilities = steps(seed, count)
    odds = verification.pairs()
    total = 0.0
    for phones, share in paths(probabilities).items():
        weight = 1.0
        for before, after in itertools.pairwise((0, *phones)):
            weight *= odds[before, after]
        total += weight * share
    assert np.exp(verification.background(probabilities)) == pytest.approx(total, rel=1e-9)


def test_pairs_are_english() -> None:
    """What follows a phone sums to 1; T comes after S more often than SH does, and NG never begins a word."""
    odds = verification.pairs()
    assert odds.sum(axis=1) == pytest.approx(1.0)
    assert odds[PHONE_NUMBERS["S"], PHONE_NUMBERS["T"]] > 20 * odds[PHONE_NUMBERS["S"], PHONE_NUMBERS["SH"]]
    assert odds[0, PHONE_NUMBERS["NG"]] < 1e-3


def spoken(*phones: str) -> np.ndarray:
    """Log-probabilities of sound in which these phones are plain, a blank between them."""
    found = np.full((2 * len(phones) + 1, OUTPUTS), 0.002)
    for at, phone in enumerate(phones):
        found[2 * at, 0] = found[2 * at + 1, PHONE_NUMBERS[phone]] = 0.922
    found[-1, 0] = 0.922
    return np.log(found).astype(np.float32)


def measured(sound: np.ndarray, words: str, *others: str) -> dict[str, float]:
    """The measures of the best of the words in this sound, in a grammar of all of them."""
    known = {text: text for text in (words, *others)}
    found = verification.verified(sound, [words, *others], known.get, [words, *others], LEXICON)
    assert found is not None
    return found[1] | {"best": float(found[0] == words)}


def test_an_answer_that_was_said_is_ahead_of_what_sounds_like_it() -> None:
    """Of "dark", spoken: the answer is ahead of its rival, of the English background, and of everyday words near it."""
    found = measured(spoken("D", "AA", "R", "K"), "dark", "dim")
    assert 1.0 == found["best"]
    assert min(found["ahead"], found["english"], found["over"]) > 1.0
    assert (0.0, 0.0) == (found["edits"], found["extra"])
    assert found["explained"] > 0.8


def test_what_sounds_like_an_answer_and_is_none_falls_behind() -> None:
    """Of "bark", spoken: "dark" is the best of the grammar, but an everyday word is likelier, a phone is unsure."""
    right, found = (
        measured(spoken("D", "AA", "R", "K"), "dark"),
        measured(spoken("B", "AA", "R", "K"), "dark"),
    )
    assert found["over"] < -1.0
    assert found["edits"] == pytest.approx(0.25)
    for name in ("fit", "sure", "least-sure", "english-each", "loop-each", "explained"):
        assert found[name] < right[name], name
    for name in ("worst", "worst-two", "worst-three", "worst-word", "inside", "behind"):
        assert found[name] > right[name], name


def test_more_than_the_answer_is_left_over() -> None:
    """Of "is he seen dim", spoken: what stands before "dim" is counted as such."""
    sound = spoken("IH", "Z", "HH", "IY", "S", "IY", "N", "D", "IH", "M")
    found = measured(sound, "dim")
    assert found["before"] > 10
    assert found["after"] < 1
    assert 7.0 == found["extra"]


def test_the_best_pronunciation_of_each_word_is_found() -> None:
    """A word with two pronunciations is compared in the one that was spoken, also inside a phrase."""
    words = next(
        word for word in sorted(LEXICON.entries) if len(LEXICON.pronunciations(word)) > 1 and len(word) > 3
    )
    for said in LEXICON.pronunciations(words):
        phones = (*LEXICON.pronunciations("dark")[0], *said)
        found = verification.best_spoken(verification.floor(spoken(*phones)), ["dark", words], LEXICON)
        assert found is not None
        assert tuple(PHONE_NUMBERS[phone] for phone in phones) == found[0].phones
