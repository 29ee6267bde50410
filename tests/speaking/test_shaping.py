"""Shaping of the voice for noise, against closed forms."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, strategies as st
from hypothesis.extra import numpy as arrays
from numpy.typing import NDArray

from assistant.hearing.baynoise import KINDS, bay_noise
from assistant.hearing.sound import RATE as NOISE_RATE
from assistant.hearing_bench.listening.sii import index, spectrum_level
from assistant.speaking.shaping import CEILING, LEVELS, gain_db, level_for, shaped
from assistant.speaking.speech import resample
from assistant.speaking.voice import Voice

RATE = 24_000
RATES = (8000, 16_000, 22_050, 24_000, 48_000)
Sound = NDArray[np.int16]


def tones(*parts: tuple[float, float], seconds: float = 1.0) -> Sound:
    """Sines of (frequency Hz, amplitude), together."""
    time = np.arange(round(seconds * RATE)) / RATE
    total = sum(amplitude * np.sin(2 * np.pi * frequency * time) for frequency, amplitude in parts)
    return np.asarray(np.rint(total), dtype=np.int16)


def amplitude(sound: Sound, frequency: float) -> float:
    """Amplitude of a sine in the middle of a sound."""
    middle = sound[len(sound) // 4 : 3 * len(sound) // 4].astype(np.float64)
    time = np.arange(len(middle)) / RATE
    return float(2 * abs(np.mean(middle * np.exp(-2j * np.pi * frequency * time))))


def decibels(ratio: float) -> float:
    return float(20 * np.log10(ratio))


def crest_db(sound: Sound) -> float:
    """Peak over the root mean square."""
    whole = sound.astype(np.float64)
    return decibels(np.max(np.abs(whole)) / np.sqrt(np.mean(whole**2)))


def like_speech(seed: int, seconds: float = 2.0) -> Sound:
    """Pulses of a voice at 200 Hz through one resonance, in syllables that differ by 20 dB."""
    chance = np.random.default_rng(seed)
    count = round(seconds * RATE)
    pulses = np.zeros(count)
    pulses[:: RATE // 200] = 1.0
    time = np.arange(RATE // 50) / RATE
    rung = np.convolve(pulses, np.exp(-time / 0.004) * np.sin(2 * np.pi * 700 * time))[:count]
    syllables = np.repeat(10 ** (-chance.uniform(0, 20, round(seconds * 5)) / 20), RATE // 5)
    voice = rung * syllables
    return np.asarray(np.rint(voice / np.max(np.abs(voice)) * 29_000), dtype=np.int16)


@given(
    arrays.arrays(np.int16, st.integers(0, 3000)),
    st.sampled_from(LEVELS[1:]),
    st.sampled_from(RATES),
)
def test_any_sound_keeps_its_length_and_stays_under_the_ceiling(
    samples: Sound, level: int, rate: int
) -> None:
    """Whatever the sound, shaping gives as many samples, none above -1 dBFS or the peak that was there."""
    made = shaped(samples, rate, level)
    assert made.dtype == np.int16
    assert len(made) == len(samples)
    before = int(np.max(np.abs(samples.astype(np.int32)), initial=0))
    assert np.max(np.abs(made.astype(np.int32)), initial=0) <= min(before, CEILING * 32767)


@given(arrays.arrays(np.int16, st.integers(0, 500)), st.sampled_from(RATES))
def test_level_0_changes_nothing(samples: Sound, rate: int) -> None:
    """In quiet and with a headset the voice is bit for bit what the synthesiser made."""
    assert np.array_equal(shaped(samples, rate, 0), samples)


def test_an_unknown_level_is_refused() -> None:
    """A level that does not exist is a mistake of the caller, not silence."""
    with pytest.raises(ValueError, match="no level"):
        shaped(np.ones(10, np.int16), RATE, LEVELS[-1] + 1)


@pytest.mark.parametrize("level", LEVELS)
def test_silence_stays_silence(level: int) -> None:
    """Nothing is made out of nothing, alone or in the middle of a sentence."""
    assert not shaped(np.zeros(RATE, np.int16), RATE, level).any()
    gap = np.concatenate([like_speech(1), np.zeros(RATE, np.int16), like_speech(2)])
    middle = shaped(gap, RATE, level)[2 * RATE + RATE // 4 : 3 * RATE - RATE // 4]
    # The filter rings for some hundredths of a second; after that it is under -80 dBFS.
    assert np.max(np.abs(middle.astype(np.int32))) <= 3


@pytest.mark.parametrize("level", LEVELS[1:])
def test_breath_between_words_does_not_swell(level: int) -> None:
    """What lies 60 dB below the speech stays at least 40 dB below it."""
    chance = np.random.default_rng(3)
    breath = np.rint(chance.normal(0.0, 10.0, RATE)).astype(np.int16)
    gap = np.concatenate([like_speech(1), breath, like_speech(2)])
    made = shaped(gap, RATE, level).astype(np.float64)
    pause = made[2 * RATE + RATE // 4 : 3 * RATE - RATE // 4]
    speech = np.concatenate([made[: 2 * RATE], made[3 * RATE :]])
    assert decibels(float(np.sqrt(np.mean(speech**2)) / np.sqrt(np.mean(pause**2)))) > 40


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize(
    ("low", "high"), [(100.0, 2000.0), (200.0, 2000.0), (500.0, 3000.0), (2000.0, 8000.0)]
)
def test_two_steady_tones_gain_what_is_stated(low: float, high: float, level: int) -> None:
    """A steady sound is neither compressed nor limited unevenly, so only the filter is between two tones."""
    before = tones((low, 6000.0), (high, 6000.0))
    after = shaped(before, RATE, level)
    gained = decibels(amplitude(after, high) / amplitude(after, low))
    stated = gain_db(np.array([low, high]), level)
    assert gained == pytest.approx(float(stated[1] - stated[0]), abs=0.1)


def test_the_full_filter_is_the_stated_one() -> None:
    """2 kHz gains 21 dB over 100 Hz, 9 dB over 500 Hz, and nothing over 1 and 4 kHz."""
    frequency = np.array([50.0, 100.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 11_000.0])
    assert gain_db(frequency, 3) == pytest.approx([-12, -12, 0, 9, 9, 9, 4.5, 4.5])
    assert gain_db(frequency, 0) == pytest.approx(np.zeros(8))


@pytest.mark.parametrize("seed", range(5))
def test_each_level_is_louder_at_the_same_peak(seed: int) -> None:
    """Compression and limiter lower the crest factor, more with each level: power is what fights the noise."""
    crests = [crest_db(shaped(like_speech(seed), RATE, level)) for level in LEVELS]
    assert all(stronger < weaker - 0.5 for weaker, stronger in pairwise(crests))
    assert crests[0] - crests[-1] > 4


@pytest.mark.parametrize(
    ("level", "before_db", "after_db"),
    [
        # ratio 1.3, at most 5 dB, limiter 3 dB: 20 - 20 * (1 - 1 / 1.3) - 3, and 30 - 5 - 3
        (1, 20.0, 12.4),
        (1, 30.0, 22.0),
        # ratio 1.7, at most 10 dB, limiter 6 dB
        (2, 20.0, 5.8),
        (2, 30.0, 14.0),
        # ratio 2.5, at most 15 dB, limiter 9 dB; 20 - 12 = 8 dB is within the limiter's reach
        (3, 20.0, 0.0),
        (3, 30.0, 6.0),
        (3, 36.0, 12.0),
    ],
)
def test_loud_and_quiet_come_together_as_stated(level: int, before_db: float, after_db: float) -> None:
    """Of two long tones the quiet one is raised by the ratio or the most that is allowed; the loud one is limited."""
    # From one to the other in a second, and in from silence, so slowly that the envelope is the tone's own.
    course = np.interp(
        np.arange(4 * RATE) / RATE, [0.0, 0.5, 1.5, 2.5, 4.0], [-60, 0, 0, -before_db, -before_db]
    )
    before = tones((1500.0, 20_000.0), seconds=4.0) * 10 ** (course / 20)
    after = shaped(np.rint(before).astype(np.int16), RATE, level)
    loud, quiet = after[RATE // 2 : 3 * RATE // 2], after[5 * RATE // 2 : 7 * RATE // 2]
    apart = decibels(amplitude(loud, 1500.0) / amplitude(quiet, 1500.0))
    assert apart == pytest.approx(after_db, abs=0.15)


@given(st.integers(1, 3), st.integers(0, 20))
def test_a_softer_sentence_is_the_same_sentence(level: int, seed: int) -> None:
    """Half the amplitude in gives half the amplitude out: nothing depends on how loud a sentence happens to be."""
    whole = like_speech(seed, 0.4) // 2 * 2
    half = whole // 2
    assert np.max(np.abs(shaped(whole, RATE, level) - 2.0 * shaped(half, RATE, level))) <= 3


@pytest.mark.parametrize("kind", KINDS)
def test_the_speech_intelligibility_index_rises_with_each_level(kind: str, tmp_path: Path) -> None:
    """At the same peak, in noise as loud as the plain voice (80 dB SPL), each level gives a higher SII (ANSI S3.5)."""
    speech = Voice(cache_folder=tmp_path).render("Caution: hot exhaust, radiator and bulb.")
    samples = resample(speech.samples, speech.rate, NOISE_RATE).astype(np.float64)
    power = np.mean(samples**2)
    noise = bay_noise(kind, len(samples) / NOISE_RATE, NOISE_RATE, seed=2) * np.sqrt(power)
    full_scale_db = 80.0 - 10 * np.log10(power)
    indices = []
    for level in LEVELS:
        made = shaped(speech.samples, speech.rate, level)
        heard = resample(made, speech.rate, NOISE_RATE).astype(np.float64)
        spoken = spectrum_level(heard, NOISE_RATE) + full_scale_db
        indices.append(index(spoken, spectrum_level(noise, NOISE_RATE) + full_scale_db))
    assert all(more > less for less, more in pairwise(indices))
    assert indices[-1] - indices[0] > 0.1


@given(st.lists(st.floats(-60, 60), min_size=1, max_size=50))
def test_the_level_moves_only_towards_the_noise(margins: list[float]) -> None:
    """Any course of noise gives levels that exist; more noise never lowers the level, and less never raises it."""
    level, before = 0, 60.0
    for margin in margins:
        following = level_for(margin, level)
        assert following in LEVELS
        if margin <= before:
            assert following >= level
        else:
            assert following <= level
        assert level_for(margin, following) == following
        level, before = following, margin


def test_a_noise_that_wavers_does_not_change_the_level() -> None:
    """Within 4 dB of a limit the level stays what it is, whichever it is."""
    for limit, upper in ((25.0, 1), (18.0, 2), (12.0, 3)):
        for level in (upper - 1, upper):
            assert level_for(limit + 1.0, level) == level
            assert level_for(limit + 3.9, level) == level
        assert level_for(limit - 0.1, upper - 1) == upper
        assert level_for(limit + 4.1, upper) == upper - 1
