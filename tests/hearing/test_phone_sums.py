"""Sums and paths over the network's outputs."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, strategies as st

from assistant.hearing import phone_sums
from assistant.hearing.acoustics import OUTPUTS, PHONE_NUMBERS


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
    found = np.exp(phone_sums.forward(probabilities, phrases))
    assert found == pytest.approx([totals[phones] for phones in phrases], rel=1e-6)


def test_each_phrase_is_summed_over_its_own_block() -> None:
    """Two kinds of likelihoods side by side give what each gives alone."""
    one, other = steps(1, 8), steps(2, 8)
    phrases = [(1, 2), (3, 3), (1, 2)]
    found = phone_sums.forward(np.concatenate([one, other], axis=1), phrases, [0, 1, 1])
    assert found[0] == pytest.approx(phone_sums.forward(one, [(1, 2)])[0])
    assert found[1:] == pytest.approx(phone_sums.forward(other, [(3, 3), (1, 2)]))


def test_long_sound_does_not_underflow() -> None:
    """A minute of sound has a finite sum."""
    probabilities = phone_sums.floor(np.log(steps(1, 2000) + 1e-9).astype(np.float32))
    assert np.isfinite(phone_sums.forward(probabilities, [(1, 2, 3) * 30])).all()


@given(st.integers(0, 10_000), st.lists(st.integers(1, 3), min_size=1, max_size=4))
def test_the_alignment_speaks_the_phones_in_order(seed: int, phones: list[int]) -> None:
    """It holds every phone once, in order, with a blank between equal ones, and is None if there is no room."""
    path = phone_sums.aligned(steps(seed, 6) + 1e-9, tuple(phones))
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
    assert 0 == phone_sums.edits([1, 2, 3], [1, 2, 3])
    assert 1 == phone_sums.edits([1, 2, 3], [1, 5, 3])
    assert 2 == phone_sums.edits([1, 2], [2, 3])
    assert 3 == phone_sums.edits([], [1, 2, 3])


@given(st.integers(0, 10_000), st.integers(1, 5))
def test_the_background_is_the_sum_over_all_phone_sequences(seed: int, count: int) -> None:
    """By definition: every path counted one by one, each phone sequence weighed by its pairs."""
    probabilities = steps(seed, count)
    odds = phone_sums.pairs()
    total = 0.0
    for phones, share in paths(probabilities).items():
        weight = 1.0
        for before, after in itertools.pairwise((0, *phones)):
            weight *= odds[before, after]
        total += weight * share
    assert np.exp(phone_sums.background(probabilities)) == pytest.approx(total, rel=1e-9)


def test_pairs_are_english() -> None:
    """What follows a phone sums to 1; T comes after S more often than SH does, and NG never begins a word."""
    odds = phone_sums.pairs()
    assert odds.sum(axis=1) == pytest.approx(1.0)
    assert odds[PHONE_NUMBERS["S"], PHONE_NUMBERS["T"]] > 20 * odds[PHONE_NUMBERS["S"], PHONE_NUMBERS["SH"]]
    assert odds[0, PHONE_NUMBERS["NG"]] < 1e-3
