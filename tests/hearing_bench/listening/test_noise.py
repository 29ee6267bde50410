"""Mixing at a stated ratio and at one peak, and the noises."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.hearing.sound import RATE as EAR
from assistant.hearing_bench.listening import noise
from assistant.hearing_bench.listening.flite import voices
from assistant.hearing_bench.mixing import Signal, speech_power
from assistant.speaking.speech import SpokenSound

NEEDS_FLITE = pytest.mark.skipif(not {"kal", "awb", "rms", "slt"} <= voices(), reason="flite is optional")


def speech(seconds: float = 1.0, rate: int = noise.RATE) -> SpokenSound:
    """Made-up speech: half a second of tone, some silence, the same again."""
    time = np.arange(round(seconds * rate)) / rate
    sound = 6000 * np.sin(2 * np.pi * 300 * time) * (np.sin(2 * np.pi * 2 * time / seconds) > 0)
    return SpokenSound(sound.astype(np.int16), rate, "made up")


def white(count: int) -> Signal:
    return np.random.default_rng(1).standard_normal(count) * 7


def under(mixed: noise.Mixed) -> float:
    return float(10 * np.log10(np.mean(mixed.noise**2)))


@pytest.mark.parametrize("ratio", [5.0, 0.0, -3.0])
def test_a_ratio_is_that_of_the_speech_to_the_noise_under_it(ratio: float) -> None:
    """Pauses do not count, and the mixture holds exactly speech and noise."""
    spoken = noise.at_rate(speech())
    made = noise.mixed(spoken, white(noise.length(spoken)), noise.Condition("", "bay", ratio))
    assert made.ratio_db == pytest.approx(ratio, abs=1e-9)
    power = 10 * np.log10(speech_power(spoken, noise.FRAME))
    assert power - under(made) == pytest.approx(ratio, abs=1e-9)
    edge = round(noise.EDGE_S * noise.RATE)
    assert made.whole[edge : edge + len(spoken)] == pytest.approx(spoken + made.noise)
    assert np.sqrt(np.mean(made.whole[:edge] ** 2)) == pytest.approx(10 ** (under(made) / 20), rel=0.05)


def test_at_the_same_peak_the_noise_is_the_same_for_a_strong_and_a_weak_voice() -> None:
    """Both voices have the peak of -1 dBFS and the same noise; the one with more power under its peak gains."""
    weak = SpokenSound(np.r_[speech().samples // 4, [6000]].astype(np.int16), noise.RATE, "one click")
    strong, faint = (noise.at_rate(one) for one in (speech(), weak))
    condition = noise.Condition("", "bay")
    both = [noise.mixed(one, white(40_000), condition) for one in (strong, faint)]
    assert [np.max(np.abs(one)) for one in (strong, faint)] == pytest.approx([noise.PEAK] * 2)
    assert [under(one) for one in both] == pytest.approx([noise.SAME_PEAK_NOISE_DB] * 2)
    assert both[0].ratio_db > both[1].ratio_db + 10


def test_clean_speech_has_a_floor() -> None:
    """Digital silence breaks recognisers, so clean speech lies far over a quiet noise and not over nothing."""
    spoken = noise.at_rate(speech())
    made = noise.mixed(spoken, white(noise.length(spoken)), noise.CLEAN)
    assert 40 < made.ratio_db < 70


def test_noise_that_is_too_short_or_silent_is_refused() -> None:
    """No mixture with less noise than said."""
    spoken = noise.at_rate(speech())
    for bad in (white(100), np.zeros(noise.length(spoken))):
        with pytest.raises(ValueError, match="too short, or silent"):
            noise.mixed(spoken, bad, noise.CONDITIONS[2])


def test_the_ear_gets_sixteen_bits_at_its_rate_without_clipping() -> None:
    """A mixture over full scale is turned down as a whole; one that fits keeps its level."""
    loud = noise.to_ear(white(24_000), EAR)
    assert len(loud) == EAR
    assert np.max(np.abs(loud.astype(int))) == pytest.approx(noise.PEAK * 32768, abs=2)
    quiet = np.full(24_000, 0.25)
    assert np.median(noise.to_ear(quiet, noise.RATE)) == 0.25 * 32768


def test_pink_noise_has_equal_power_in_every_octave() -> None:
    """Closed form: 1/f of power over frequency gives each octave the same."""
    made = noise.pink(noise.RATE * 20, np.random.default_rng(5))
    power = np.abs(np.fft.rfft(made)) ** 2
    frequency = np.fft.rfftfreq(len(made), 1 / noise.RATE)
    octaves = [power[(low <= frequency) & (frequency < 2 * low)].sum() for low in 62.5 * 2.0 ** np.arange(7)]
    assert octaves == pytest.approx([octaves[0]] * 7, rel=0.02)


def test_every_voice_gets_the_same_noise_for_a_sentence() -> None:
    """A shorter one is the beginning of a longer one only if it is cut, so all are made for the longest voice."""
    noises = noise.NoiseMaker(4)
    for kind in ("bay", "pink", ""):
        assert np.array_equal(noises.make(kind, 3, 5000), noise.NoiseMaker(4).make(kind, 3, 5000))
        assert not np.array_equal(noises.make(kind, 3, 5000), noises.make(kind, 4, 5000))
    assert len({noises.kind("bay", number) for number in range(5)}) == 5


@NEEDS_FLITE
def test_babble_is_steadier_than_one_voice_and_sounds_like_speech() -> None:
    """Eight voices at once fill each other's pauses; most of the power is under 4 kHz, as speech has it."""
    made = noise.NoiseMaker(1).make("babble", 0, noise.RATE * 6)
    level = np.sqrt(np.mean(made[: len(made) // 2400 * 2400].reshape(-1, 2400) ** 2, axis=1))
    assert np.min(level) > 0.15 * np.mean(level)
    power = np.abs(np.fft.rfft(made)) ** 2
    frequency = np.fft.rfftfreq(len(made), 1 / noise.RATE)
    assert power[frequency < 4000].sum() > 0.9 * power.sum()
