"""A known share of a sound's bands is taken out, and nothing else changes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from assistant.hearing.activity import CHUNK
from assistant.hearing.cleaning import BANDS, HOP, Cleaner, powers
from assistant.hearing.sound import RATE


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), level=st.integers(1, 32767))
def test_gains_of_one_only_delay_the_sound(seed: int, level: int) -> None:
    """With gains of 1 every sample comes out as it was, a hop later."""
    heard = np.random.default_rng(seed).integers(-level, level + 1, 6 * CHUNK).astype(np.int16)
    cleaner, gains = Cleaner(), np.ones(BANDS, np.float32)
    found = np.concatenate([cleaner.clean(piece, gains) for piece in np.split(heard, 6)])
    assert np.array_equal(found[HOP:], heard[:-HOP])


def test_a_band_loses_its_share() -> None:
    """White noise keeps its power in the untouched bands and loses 20 dB in the others (an amplitude of a tenth)."""
    noise = np.rint(np.random.default_rng(3).normal(0, 3000, 300 * CHUNK)).astype(np.int16)
    gains = np.where(np.arange(BANDS) < BANDS // 2, 0.1, 1).astype(np.float32)
    cleaner = Cleaner()
    found = [cleaner.clean(piece, gains) for piece in np.split(noise, 300)]
    lost = 10 * np.log10(
        powers(np.stack(found[1:])).mean(axis=0) / powers(noise.reshape(300, -1)).mean(axis=0)
    )
    assert lost[: BANDS // 2 - 1] == pytest.approx(np.full(BANDS // 2 - 1, -20.0), abs=1.0)
    assert lost[BANDS // 2 + 1 :] == pytest.approx(np.zeros(BANDS // 2 - 1), abs=0.3)


def test_white_noise_has_its_own_power_in_every_band() -> None:
    """The spectrum of white noise is flat at its variance (definition), a tone is in one or two bands."""
    noise = np.random.default_rng(2).normal(0, 3276.8, (400, CHUNK))
    found = powers(np.rint(noise).astype(np.int16)).mean(axis=0)
    assert found == pytest.approx(np.full(found.size, 0.01), rel=0.15)
    tone = powers(np.rint(8000 * np.sin(2 * np.pi * 1000 * np.arange(CHUNK) / RATE)).astype(np.int16))
    assert np.sort(tone)[-3] < 0.01 * np.max(tone)
