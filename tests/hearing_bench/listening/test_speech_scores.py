"""Rates with their intervals, and ESTOI by pystoi."""

from __future__ import annotations

import importlib.util
import math

import numpy as np
import pytest

from assistant.hearing_bench.listening import noise, scores
from assistant.hearing_bench.listening.flite import by_flite, voices


def test_a_rate_is_of_all_words_and_not_of_all_sentences() -> None:
    """One wrong word of two and none of eight is one of ten."""
    assert scores.rate([(1, 2), (0, 8)]).share == pytest.approx(0.1)
    assert scores.rate([(0, 5)] * 9).per_cent() == "0 (0-0)"
    assert scores.rate([]).per_cent() == "-"


def test_an_interval_is_as_wide_as_theory_has_it() -> None:
    """200 sentences of one word, a fifth of them wrong: the normal approximation of the binomial gives 20 +- 5.5."""
    found = scores.rate([(int(number % 5 == 0), 1) for number in range(200)])
    half = 1.96 * math.sqrt(0.2 * 0.8 / 200)
    assert found.low == pytest.approx(0.2 - half, abs=0.012)
    assert found.high == pytest.approx(0.2 + half, abs=0.012)


def test_an_interval_knows_that_words_of_a_sentence_fail_together() -> None:
    """The same share in long sentences that fail as a whole has a wider interval."""
    together = scores.rate([(10 * int(number % 5 == 0), 10) for number in range(20)])
    apart = scores.rate([(int(number % 5 == 0), 1) for number in range(200)])
    assert together.high - together.low > 2 * (apart.high - apart.low)


@pytest.mark.skipif(importlib.util.find_spec("pystoi") is None, reason="pystoi is optional")
@pytest.mark.skipif("rms" not in voices(), reason="flite is optional")
def test_estoi_falls_with_noise() -> None:
    """1 for the speech itself (the measure's own upper end), lower the more noise there is; none for a click."""
    spoken = noise.at_rate(by_flite("rms", "Clip the lamp to the battery post."))
    made = np.random.default_rng(2).standard_normal(noise.length(spoken))
    found = []
    for ratio in (30.0, 5.0, -5.0):
        mixed = noise.mixed(spoken, made, noise.Condition("", "pink", ratio))
        found.append(scores.estoi(spoken, mixed.speech + mixed.noise) or 0.0)
    assert scores.estoi(spoken, spoken) == pytest.approx(1, abs=1e-6)
    assert 1 > found[0] > found[1] > found[2] > 0
    assert scores.estoi(spoken[:1000], spoken[:1000]) is None
