"""The foreground of an utterance that still goes on."""

from __future__ import annotations

import numpy as np
import pytest
from heard_sounds import sound
from hypothesis import given, settings, strategies as st

from assistant.hearing.foreground import prepared
from assistant.hearing.lens import Lens
from assistant.hearing.sound import RATE, Samples

WORD = sound("dark")


def through(lens: Lens, samples: Samples, size: int = 512) -> Samples:
    """All that the lens hands on."""
    parts = [lens.add(samples[start : start + size]) for start in range(0, samples.size, size)]
    return np.concatenate([*parts, lens.rest()])


@settings(max_examples=20)
@given(st.integers(60, 4000))
def test_all_sound_comes_through(size: int) -> None:
    """However it is cut into pieces, every sample is handed on once."""
    assert through(Lens(), WORD, size).size == WORD.size


def test_with_a_known_level_it_is_the_sound_of_the_whole() -> None:
    """A technician who speaks as before is heard live exactly as in the whole, and nothing is heard twice."""
    lens = Lens()
    first = through(lens, WORD)
    assert first.size == lens.heard.size
    lens.settle()
    assert np.array_equal(prepared(WORD), lens.heard)
    assert not lens.differs


def test_it_notices_that_the_beginning_had_another_level() -> None:
    """An utterance that begins with quiet talk was heard too loud; the whole must be heard again."""
    quiet = (WORD * 0.15).astype(np.int16)
    lens = Lens()
    through(lens, np.concatenate([quiet, WORD]))
    assert lens.differs


def test_it_comes_no_later_than_the_gate_opens_early() -> None:
    """The recogniser that listens along is at most 0.15 s behind."""
    lens = Lens()
    handed = sum(lens.add(WORD[start : start + 512]).size for start in range(0, WORD.size, 512))
    assert WORD.size - handed == pytest.approx(0.13 * RATE, abs=0.03 * RATE)
