"""Other voices under an answer, and what levels, rooms and telephones do, against their definitions."""

from __future__ import annotations

import random

import numpy as np
import pytest

from assistant.hearing.sound import FULL_SCALE, RATE
from assistant.hearing_bench.hardships import by_telephone, clipped, in_room, quantised
from assistant.hearing_bench.mixing import Signal, speech_power
from assistant.hearing_bench.talk import running, with_talk


def chance(seed: int) -> random.Random:
    return random.Random(seed)  # noqa: S311  a test


def tone(hertz: float, seconds: float = 1.0, size: float = 0.1) -> Signal:
    return size * np.sin(2 * np.pi * hertz * np.arange(round(seconds * RATE)) / RATE)


@pytest.mark.parametrize("ratio_db", [24.0, 12.0, 6.0])
def test_talk_lies_so_far_under_the_speech(ratio_db: float) -> None:
    """The two tones stand for two voices; their lines in the spectrum show the ratio."""
    made = with_talk(
        tone(500), [tone(1000, 0.7)], ratio_db, chance(1), lead_s=0.5, tail_s=0.5, level_db=-22.0
    )
    part = made.samples[round(made.began_s * RATE) : round(made.ended_s * RATE)].astype(float) / FULL_SCALE
    size = np.abs(np.fft.rfft(part))
    near, far = size[498:503].max(), size[995:1006].max()
    # the talk pauses between its sentences, so that its line is lower than its level while it speaks
    assert 20 * np.log10(near / far) == pytest.approx(ratio_db + 1.5, abs=1.6)
    assert made.ended_s - made.began_s == pytest.approx(1.0)


def test_talk_is_there_before_and_after_the_speech() -> None:
    """A radio does not wait for an answer."""
    made = with_talk(tone(500), [tone(1000, 0.7)], 12.0, chance(2), lead_s=0.5, tail_s=0.5, level_db=-22.0)
    before, after = made.samples[: RATE // 2], made.samples[-RATE // 2 :]
    level = speech_power(made.samples[RATE // 2 : 3 * RATE // 2] / 1.0)
    for piece in (before, after):
        assert 10 * np.log10(level / speech_power(piece / 1.0)) == pytest.approx(12, abs=1.5)


def test_talk_runs_on_with_short_pauses_only() -> None:
    """It is as long as asked for, and never silent for longer than the longest pause."""
    talk = running([tone(1000, 0.7), tone(700, 0.4)], 5 * RATE, chance(3))
    assert len(talk) == 5 * RATE
    quiet = np.abs(talk.reshape(-1, RATE // 100)).max(axis=1) < 1e-6
    longest = max(map(len, "".join("q" if one else " " for one in quiet).split()), default=0)
    assert 0 < longest <= 31


def test_nobody_cannot_talk() -> None:
    """Without a sentence there is no talk, and a loop without end would be worse than an error."""
    with pytest.raises(ValueError, match="nobody talks"):
        running([np.zeros(0)], RATE, chance(1))


def test_clipped_sound_is_cut_off_where_it_is_too_loud() -> None:
    """A tone with its peak 6 dB over full scale is cut off while its sine exceeds a half: two thirds of the time."""
    made = clipped(tone(100), 6.0206)
    assert np.mean(np.abs(made.astype(int)) >= FULL_SCALE - 1) == pytest.approx(2 / 3, abs=0.02)
    assert np.abs(clipped(tone(100), 0.0).astype(int)).max() == pytest.approx(FULL_SCALE, abs=2)


def test_a_quiet_level_stays_quiet() -> None:
    """Nothing turns the sound up again: a tone of 0.001 of full scale has 33 steps of 16 bits."""
    assert np.abs(quantised(tone(100, size=0.001))).max() == 33


@pytest.mark.parametrize("seconds", [0.5, 1.2])
def test_a_room_decays_by_60_db_within_its_reverberation_time(seconds: float) -> None:
    """Schroeder's backward integration of the response to a click, -5 to -25 dB, as in ISO 3382-2 (T20)."""
    click = np.zeros(RATE)
    click[0] = 1.0
    tail = in_room(click, seconds, 7)[round(0.005 * RATE) :]
    energy = np.cumsum(tail[::-1] ** 2)[::-1]
    decay = 10 * np.log10(np.maximum(energy / energy[0], 1e-12))
    at_5, at_25 = (int(np.argmax(decay <= level)) for level in (-5, -25))
    assert 3 * (at_25 - at_5) / RATE == pytest.approx(seconds, rel=0.12)


def test_a_telephone_has_its_band() -> None:
    """ITU-T G.712: 300 to 3400 Hz pass; hum and hiss do not. Eight bits of mu-law leave some 35 dB (from memory)."""
    inside, hum, hiss = (by_telephone(tone(hertz)) for hertz in (1000.0, 60.0, 6000.0))
    level = float(np.sqrt(np.mean(inside**2)))
    assert 20 * np.log10(level / np.sqrt(np.mean(tone(1000.0) ** 2))) == pytest.approx(0, abs=0.5)
    noise = inside[2000:-2000] - tone(1000.0)[2000 : len(inside) - 2000]
    assert 25 < 10 * np.log10(np.mean(inside**2) / np.mean(noise**2)) < 45
    assert float(np.sqrt(np.mean(hum[2000:-2000] ** 2))) < level / 100
    assert float(np.sqrt(np.mean(hiss[2000:-2000] ** 2))) < level / 10
