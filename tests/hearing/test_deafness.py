"""When silence means that the microphone is deaf, on made-up blocks and a made clock."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.hearing.deafness import DEAF_S, GAPS, GATED_DEAF_S, HEARS_S, Deafness

BLOCK_S = 0.032
NOISE = np.tile(np.array([1, 0, -1, 0], np.int16), 128)
ZEROS = np.zeros(512, np.int16)
STUCK = np.full(512, -7, np.int16)


def fed(ear: Deafness, block: np.ndarray, seconds: float, *, own_voice: bool = False) -> float | None:
    """Feed a block for so long; after how many seconds the ear was deaf, None when never."""
    when = None
    for at in range(round(seconds / BLOCK_S)):
        ear.feed(block, BLOCK_S, ear._gone_by_s + BLOCK_S, own_voice=own_voice)
        if ear.deaf and when is None:
            when = (at + 1) * BLOCK_S
    return when


@pytest.mark.parametrize("block", [ZEROS, STUCK])
def test_exact_silence_is_noticed_in_time(block: np.ndarray) -> None:
    """Three seconds of one and the same number, zero or not, are no microphone."""
    ear = Deafness()
    assert fed(ear, NOISE, 20) is None
    when = fed(ear, block, 10)
    assert when is not None
    assert DEAF_S <= when < DEAF_S + 2 * BLOCK_S


def test_the_faintest_noise_is_a_microphone() -> None:
    """One step of sixteen bits, now and then, is enough not to be deaf."""
    ear = Deafness()
    faint = ZEROS.copy()
    faint[100] = 1
    assert fed(ear, faint, 60) is None


def test_a_pause_of_a_gate_is_no_loss() -> None:
    """Exact silence between two words, as a noise gate gives it, is not taken for deafness."""
    ear = Deafness()
    for _ in range(20):
        assert fed(ear, NOISE, 0.5) is None
        assert fed(ear, ZEROS, 0.6) is None


def test_a_gated_microphone_has_longer() -> None:
    """Once its gaps have shown a gate, silence between two answers is no loss; half a minute of it is."""
    ear = Deafness()
    for _ in range(GAPS):
        fed(ear, ZEROS, 0.4)
        fed(ear, NOISE, 0.4)
    assert ear.gated
    when = fed(ear, ZEROS, 40)
    assert when is not None
    assert GATED_DEAF_S <= when < GATED_DEAF_S + 2 * BLOCK_S


def test_old_gaps_are_forgotten() -> None:
    """Gaps of minutes ago (a loaded machine, say) do not make a later mute be noticed late."""
    ear = Deafness()
    for _ in range(GAPS):
        fed(ear, ZEROS, 0.4)
        fed(ear, NOISE, 30)
    assert not ear.gated
    assert (fed(ear, ZEROS, 10) or 0) < DEAF_S + 2 * BLOCK_S


def test_it_hears_again_only_with_real_sound() -> None:
    """A click does not bring the microphone back; sound that lasts does."""
    ear = Deafness()
    fed(ear, ZEROS, 4)
    fed(ear, NOISE, HEARS_S / 2)
    fed(ear, ZEROS, 0.1)
    fed(ear, NOISE, HEARS_S / 2)
    assert ear.deaf
    fed(ear, NOISE, HEARS_S)
    assert not ear.deaf


def test_the_own_voice_proves_no_microphone() -> None:
    """Moved to the loudspeaker's own signal: its voice keeps nothing alive and brings nothing back."""
    ear = Deafness()
    for _ in range(10):
        fed(ear, NOISE, 2, own_voice=True)
        fed(ear, ZEROS, 0.5)
    assert ear.deaf
    fed(ear, NOISE, 10, own_voice=True)
    assert ear.deaf


def test_opening_again_keeps_the_verdict() -> None:
    """A device that is opened again is deaf until it sounds, and has its full time after that."""
    ear = Deafness()
    fed(ear, ZEROS, 4)
    ear.opened_again()
    assert ear.deaf
    fed(ear, NOISE, 1)
    assert not ear.deaf
    assert (fed(ear, ZEROS, 4) or 0) >= DEAF_S


def test_time_without_any_block_counts_as_silence_when_silence_follows() -> None:
    """A server that moves a stream gives nothing for a while, the rest of a block from before, and then silence."""
    ear = Deafness()
    ear.feed(NOISE, BLOCK_S, 10.0)
    ear.feed(NOISE, BLOCK_S, 11.9)
    ear.feed(ZEROS, BLOCK_S, 11.94)
    assert not ear.deaf
    ear.feed(ZEROS, BLOCK_S, 10.0 + DEAF_S)
    assert ear.deaf


def test_a_late_block_with_sound_is_no_silence() -> None:
    """A loaded machine delivers late; when sound goes on coming, the wait is forgotten."""
    ear = Deafness()
    ear.feed(NOISE, BLOCK_S, 10.0)
    for late in range(20):
        ear.feed(NOISE, BLOCK_S, 15.0 + BLOCK_S * late)
    ear.feed(ZEROS, BLOCK_S, 15.0 + BLOCK_S * 20)
    assert not ear.deaf


def test_a_burst_of_what_was_recorded_before_proves_no_microphone() -> None:
    """A moved stream stands still, gives in one go what the server held, then silence: three seconds in all."""
    ear = Deafness()
    at = 0.0
    for _ in range(100):
        at += BLOCK_S
        ear.feed(NOISE, BLOCK_S, at)
    stopped, at = at, at + 1.9
    for _ in range(60):  # two seconds of sound within a few hundredths
        at += 0.001
        ear.feed(NOISE, BLOCK_S, at)
    while not ear.deaf:
        at += BLOCK_S
        ear.feed(ZEROS, BLOCK_S, at)
        assert at - stopped < DEAF_S + 2 * BLOCK_S
