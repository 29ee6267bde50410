"""Scenes that are mixed as powers are what a microphone would hear, with their truth."""

from __future__ import annotations

import functools
import itertools

import numpy as np
import pytest

from assistant.hearing.starter.certainty import TRAITS, certainties
from assistant.hearing.starter.features import BANDS, FrameMaker, SlowMean
from assistant.hearing.starter.network import WEIGHTS, StarterNetwork
from assistant.hearing_bench.starter import certain, mixing, training


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
    """What the network is trained on is what it gets from `SlowMean`."""
    samples = np.random.default_rng(2).normal(0, 500, 16000).astype(np.int16)
    mean, bands = SlowMean(), [one for one in FrameMaker().frames(samples) if one is not None]
    wanted = np.stack([mean.relative(one) for one in bands])
    assert mixing.relative(np.stack(bands)[None])[0] == pytest.approx(wanted, abs=1e-4)


def test_a_start_is_true_where_it_is_loud() -> None:
    """The truth of a clip says cranking where its powers are, and nothing in the silence before it."""
    clip = mixing.start_clip(np.random.default_rng(4))
    cranking = clip.truth["state"] == 1
    loud = clip.powers.sum(axis=1)
    assert loud[cranking].mean() > 100 * loud[:10].mean()
    assert not cranking[:20].any()


def test_pulses_are_only_where_something_cranks() -> None:
    """Some mixtures hold starts and some none; pulses are true in starts only, also where sound was lost."""
    some = mixing.batch(pool(), np.random.default_rng(5), 16)
    cranks = (some["state"] == 1).any(axis=1)
    assert 0 < cranks.sum() < len(cranks)
    assert not some["pulse"][some["state"] != 1].any()
    assert np.isfinite(some["bands"]).all()


def test_a_long_scene_comes_piece_by_piece() -> None:
    """Pieces follow each other until one begins a new scene; together they are that scene, with its running mean."""
    some = pool()
    rng = np.random.default_rng(10)
    whole = mixing.mixed(some, rng, int(rng.integers(1, 4)))
    count = len(whole["bands"]) // mixing.FRAMES
    assert (count * mixing.FRAMES, BANDS) == whole["bands"].shape
    assert np.isfinite(whole["bands"]).all()
    pieces = list(itertools.islice(mixing.stretches(some, np.random.default_rng(10), 3), 12))
    assert pieces[0]["begins"]
    together = {name: np.concatenate([piece[name] for piece in pieces[:count]]) for name in whole}
    assert np.array_equal(mixing.relative(whole["bands"][None])[0], together["bands"])
    assert all(np.array_equal(whole[name], together[name]) for name in ("state", "pulse", "pump", "kind"))
    assert 1 < sum(piece["begins"] for piece in pieces) < 12
    assert {mixing.FRAMES} == {len(piece[name]) for piece in pieces for name in ("bands", "state", "pulse")}
    # Where a scene begins its first frame is its own mean; elsewhere the mean goes on.
    assert [bool(piece["begins"]) for piece in pieces] == [not piece["bands"][0].any() for piece in pieces]


def test_the_network_hears_mixtures_as_the_ear_does() -> None:
    """All that is said of a batch at once is what `StarterNetwork` says frame by frame."""
    bands = mixing.batch(pool(), np.random.default_rng(6), 2)["bands"]
    said = training.heard_all(training.kept_weights(WEIGHTS), bands)
    network = StarterNetwork()
    for frame in range(60):
        one = network.hear(bands[1, frame])
        wanted = (one.cranks, one.runs, one.pulse, one.pump, one.uneven, one.no_rhythm)
        assert said[1, frame][certain.COLUMNS] == pytest.approx(wanted, abs=1e-4)


def test_what_is_fitted_tells_true_from_false() -> None:
    """Fitted to beginnings whose first trait tells them apart, the certainty of a true one is above that of a false."""
    rng = np.random.default_rng(7)
    true = np.repeat(np.arange(60) % 2 == 0, 2)
    rows = rng.normal(0, 1, (120, len(TRAITS)))
    rows[:, 0] += 3.0 * true
    some = certain.Beginnings(rows, true, np.repeat(np.arange(60), 2))
    shares, truth = some.surest(certainties(certain.fitted(some), rows))
    assert shares[truth].mean() > 0.9
    assert shares[~truth].mean() < 0.1
