"""What was played lies beside the microphone's samples."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, strategies as st

from assistant.speaking.played import GAP_S, KEPT_S, WAITING_S, PlayedSound

RATE = 16000


def block(samples: list[int] | np.ndarray) -> np.ndarray:
    return np.repeat(np.asarray(samples, np.int16)[:, None], 2, axis=1)


@given(sizes=st.lists(st.integers(1, 400), min_size=1, max_size=40))
def test_blocks_of_any_size_lie_in_order(sizes: list[int]) -> None:
    """Whatever the device's blocks: what was handed over before the microphone's samples comes out whole, in order."""
    played, handed = PlayedSound(RATE), 0
    for size in sizes:
        played.hand_over(block(np.arange(handed, handed + size) % 30000), RATE)
        played.pass_by(size)
        handed += size
    assert np.array_equal(np.arange(handed) % 30000, played.between(0, handed))
    assert played.breaks == 0


def test_outside_of_what_is_known_there_is_silence() -> None:
    """Before the first sample, after the last and beyond what is kept."""
    played = PlayedSound(RATE)
    played.hand_over(block([5, 6, 7]), RATE)
    played.pass_by(3)
    assert played.between(-2, 5).tolist() == [0, 0, 5, 6, 7, 0, 0]
    for _ in range(round(KEPT_S / 0.1) + 1):
        played.hand_over(block(np.ones(RATE // 10)), RATE)
        played.pass_by(RATE // 10)
    assert played.between(0, 3).tolist() == [0, 0, 0]


def test_another_rate_is_fitted() -> None:
    """A tone of 440 Hz played at 48 kHz is a tone of 440 Hz here, at its level."""
    played, tone = PlayedSound(RATE), 8000 * np.sin(2 * np.pi * 440 * np.arange(48000) / 48000)
    for at in range(0, 48000, 480):
        played.hand_over(block(np.rint(tone[at : at + 480])), 48000)
        played.pass_by(160)
    found = played.between(4000, 12000).astype(float)
    spectrum = np.abs(np.fft.rfft(found * np.hanning(8000)))
    assert round(float(np.argmax(spectrum)) * RATE / 8000) == 440
    assert abs(np.max(np.abs(found)) - 8000) < 100


def test_a_side_that_stood_still_is_a_break() -> None:
    """When either device stood still, the two no longer lie beside each other as before, and that is known."""
    played = PlayedSound(RATE)
    played.pass_by(160)
    for _ in range(3 * round(WAITING_S / 0.01)):  # the microphone stands still
        played.hand_over(block(np.ones(160)), RATE)
    assert played.breaks == 1
    played.pass_by(160)
    assert played.breaks == 1
    played.pass_by(RATE)  # the loudspeaker stood still
    assert played.breaks == 2
    played.pass_by(round(GAP_S * RATE) - 1)  # a short gap is none
    assert played.breaks == 2


@pytest.mark.parametrize("blocks", [1, 2, 7, 19, 30])
def test_a_microphone_that_begins_later_has_the_newest_beside_it(blocks: int) -> None:
    """The loudspeaker ran before the microphone gave sound, or while it stood still: those blocks are over."""
    played, longest = PlayedSound(RATE), round(WAITING_S / 0.01)
    played.hand_over(block(np.ones(160 * blocks)), RATE)
    played.pass_by(160)
    played.hand_over(block(np.full(160, 2)), RATE)
    played.pass_by(160)
    assert np.array_equal(np.repeat([1, 2], 160), played.between(0, 320))
    for number in range(longest + blocks):
        played.hand_over(block(np.full(160, number)), RATE)
    played.pass_by(160)
    assert np.array_equal(np.full(160, longest + blocks - 1), played.between(320, 480))
