"""Shaping of the voice for noise, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, strategies as st
from hypothesis.extra import numpy as arrays

from assistant.speaking.shaping import CEILING, LEVELS, shaped

RATE = 24_000


@given(
    arrays.arrays(np.int16, st.integers(0, 3000)),
    st.sampled_from(LEVELS),
    st.sampled_from([8000, 16_000, 22_050, 24_000, 48_000]),
)
def test_any_sound_keeps_its_length_and_stays_under_the_ceiling(
    samples: np.ndarray[tuple[int], np.dtype[np.int16]], level: int, rate: int
) -> None:
    """Whatever the sound, shaping gives as many samples, none above -1 dBFS or the peak that was there."""
    made = shaped(samples, rate, level)
    assert made.dtype == np.int16
    assert len(made) == len(samples)
    if level:
        before = int(np.max(np.abs(samples.astype(np.int32)), initial=0))
        assert np.max(np.abs(made.astype(np.int32)), initial=0) <= min(before, round(CEILING * 32767))


@given(arrays.arrays(np.int16, st.integers(0, 500)))
def test_level_0_changes_nothing(samples: np.ndarray[tuple[int], np.dtype[np.int16]]) -> None:
    """In quiet and with a headset the voice is bit for bit what the synthesiser made."""
    assert np.array_equal(shaped(samples, RATE, 0), samples)


def test_an_unknown_level_is_refused() -> None:
    """A level that does not exist is a mistake of the caller, not silence."""
    with pytest.raises(ValueError, match="no level"):
        shaped(np.ones(10, np.int16), RATE, LEVELS[-1] + 1)


@pytest.mark.parametrize("level", LEVELS)
def test_silence_stays_silence(level: int) -> None:
    """Nothing is made out of nothing."""
    assert not shaped(np.zeros(RATE, np.int16), RATE, level).any()
