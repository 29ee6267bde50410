"""Scenes that are mixed as powers are what a microphone would hear, with their truth."""

from __future__ import annotations

import functools

import numpy as np
import pytest

from assistant.hearing.starter.features import FrameMaker
from assistant.hearing.starter.network import WEIGHTS
from assistant.hearing_bench.starter import mixing, training


def speech(rng: np.random.Generator) -> np.ndarray:
    return rng.standard_normal(16000)


@functools.cache
def pool() -> mixing.Pool:
    return mixing.made_pool(np.random.default_rng(3), speech, 1)


def test_powers_of_two_sounds_add_up() -> None:
    """The powers of two noises together are the sum of theirs (independent sounds: textbook)."""
    rng = np.random.default_rng(1)
    one, two = 0.5 * rng.standard_normal(32000), rng.standard_normal(32000)
    alone = mixing.powers(one).mean(axis=0) + mixing.powers(two).mean(axis=0)
    assert mixing.powers(one + two).mean(axis=0) == pytest.approx(alone, rel=0.2)


def test_relative_bands_are_those_that_the_ear_computes() -> None:
    """What the network is trained on is what it gets from `FrameMaker`."""
    samples = np.random.default_rng(2).normal(0, 500, 16000).astype(np.int16)
    bands, wanted = zip(*filter(None, FrameMaker().frames(samples)), strict=True)
    assert mixing.relative(np.stack(bands)[None])[0] == pytest.approx(np.stack(wanted), abs=1e-4)


def test_a_start_is_true_where_it_is_loud() -> None:
    """The truth of a clip says cranking where its powers are, and nothing in the silence before it."""
    clip = mixing.start_clip(np.random.default_rng(4))
    cranking = clip.truth["state"] == 1
    loud = clip.powers.sum(axis=1)
    assert loud[cranking].mean() > 100 * loud[:10].mean()
    assert not cranking[:20].any()


def test_a_quiet_mixture_holds_no_start() -> None:
    """Where nothing is to crank, the truth has no crank; other mixtures have some, and pulses only there."""
    rng = np.random.default_rng(5)
    assert not mixing.batch(pool(), rng, 8, quiet=True)["state"].any()
    some = mixing.batch(pool(), rng, 8)
    assert (some["state"] == 1).any()
    assert not some["pulse"][some["state"] != 1].any()
    assert np.isfinite(some["bands"]).all()


def test_what_deceives_is_heard_to_begin() -> None:
    """Each mixture that is kept as deceiving makes the given weights say that a crank begins."""
    weights = training.kept_weights(WEIGHTS)
    hard = training.deceiving(pool(), np.random.default_rng(6), 24, weights)
    assert not hard["state"].any()
    assert all(training.begins(one) for one in training.heard_states(weights, hard["bands"]))
