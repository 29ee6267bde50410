"""The rate of compressions from swelling bands."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.hearing.starter.features import BANDS, FRAME_S
from assistant.hearing.starter.rhythm import beat_of


def swelling(
    per_s: float, seconds: float, depth: float = 0.5, seed: int = 2
) -> tuple[list[float], list[np.ndarray]]:
    rng = np.random.default_rng(seed)
    time = np.arange(round(seconds / FRAME_S)) * FRAME_S
    wave = np.cos(2 * np.pi * per_s * time) + 0.25 * np.cos(4 * np.pi * per_s * time)
    bands = depth * wave[:, None] + rng.normal(0, 0.5, (time.size, BANDS))
    return list(0.5 + 0.3 * wave), list(bands.astype(np.float32))


@pytest.mark.parametrize(("rpm", "cylinders"), [(90, 4), (200, 3), (200, 4), (250, 5), (180, 6), (240, 8)])
def test_the_rate_is_found(rpm: float, cylinders: int) -> None:
    """Swells like the starter's current (cos x + 0.25 cos 2x) give rpm x cylinders / 120 compressions a second.

    Source of the formula: a four-stroke cylinder compresses once in two turns (textbook).
    """
    wanted = rpm * cylinders / 120
    beat = beat_of(*swelling(wanted, 3.0), cylinders)
    assert beat is not None
    assert beat.per_s == pytest.approx(wanted, rel=0.01)
    assert abs(beat.per_s - wanted) < 3 * beat.sigma
    assert beat.clear > 1.5


def test_a_longer_crank_gives_a_smaller_error() -> None:
    """The stated error shrinks with the length of the crank."""
    short, long = (beat_of(*swelling(6.7, seconds), 4) for seconds in (1.2, 5.0))
    assert short is not None
    assert long is not None
    assert long.sigma < short.sigma


def test_a_crank_that_is_too_short_gives_none() -> None:
    """Half a second of steady cranking is needed, and nothing at all gives no rate."""
    assert beat_of(*swelling(6.7, 0.7), 4) is None
    assert beat_of([], [], None) is None
