"""Frames of sound, and gaps in it."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.hearing.starter.features import FRAME_S, GAP, HOP, STILL_S, WINDOW, FrameMaker, SlowMean


def sound(count: int, size: float = 300.0) -> np.ndarray:
    return np.random.default_rng(3).normal(0, size, count).round().astype(np.int16)


def torn(samples: np.ndarray) -> list[bool]:
    return [one is None for one in FrameMaker().frames(samples)]


@pytest.mark.parametrize("length", [2 * GAP, 160, 1600])
def test_a_frame_with_a_gap_is_left_out(length: int) -> None:
    """Exactly the frames that zeros reach into by a whole row give None, wherever in the sound the gap begins."""
    for begin in (5000, 5001, 5077):
        samples = sound(12_000)
        samples[begin : begin + length] = 0
        for number, out in enumerate(torn(samples)):
            inside = min(begin + length, number * HOP + WINDOW) - max(begin, number * HOP)
            assert out or inside < 2 * GAP
            assert not out or inside >= GAP


def test_frames_elsewhere_are_those_without_the_gap() -> None:
    """A gap changes no frame that it does not reach, and the mean goes on after it as if the gap had not been."""
    samples = sound(12_000)
    whole = list(FrameMaker().frames(samples))
    samples[4096:5120] = 0
    before, after = SlowMean(), SlowMean()
    for old, new in zip(whole, FrameMaker().frames(samples), strict=True):
        assert old is not None
        relative = before.relative(old)
        if new is not None:
            assert np.array_equal(old, new)
            assert np.abs(after.relative(new) - relative).max() < 1.0


def test_silence_that_lasts_is_what_the_microphone_delivers() -> None:
    """Zeros are a gap for as long as sound drops out; then they count, so a switched off microphone ends a crank."""
    samples = np.concatenate([sound(8000), np.zeros(16_000, np.int16)])
    out = torn(samples)
    assert sum(out) * FRAME_S == pytest.approx(STILL_S, abs=4 * FRAME_S)
    assert not out[-1]


def test_a_quiet_microphone_has_no_gaps() -> None:
    """Noise of half a step of 16 bits is sound, though most of its samples are zero."""
    assert not any(torn(sound(160_000, 0.5)))
