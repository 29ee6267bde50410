"""Speech in noise: the ratio is exact, and the ends of speech are where they are said to be."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.hearing.sound import RATE, decibels
from assistant.hearing_bench.mixing import (
    CEILING,
    Signal,
    at_level,
    from_samples,
    in_noise,
    joined,
    mix,
    speech_power,
    stretched,
    to_samples,
    trimmed,
)


def tone(seconds: float, level: float = 0.1, hertz: float = 300.0) -> Signal:
    return level * np.sin(2 * np.pi * hertz * np.arange(round(seconds * RATE)) / RATE)


def with_silence(speech: Signal) -> Signal:
    return np.concatenate([np.zeros(RATE // 2), speech, np.zeros(RATE // 2)])


@pytest.mark.parametrize("ratio_db", [20.0, 10.0, 5.0, 0.0, -3.0])
def test_the_ratio_is_exact_over_the_speech(ratio_db: float) -> None:
    """Speech where someone speaks over noise where the speech lies; silence in the speech does not count."""
    speech = np.concatenate([tone(0.5), np.zeros(RATE // 2), tone(0.5)])
    noise = np.random.default_rng(3).normal(0, 1, len(speech) + RATE)
    noise[: RATE // 4] *= 30  # loud before the speech: does not count either
    lead = RATE // 2
    mixed = mix(speech, noise, ratio_db, lead)
    rest = mixed.copy()
    rest[lead : lead + len(speech)] -= speech
    part = rest[lead : lead + len(speech)]
    found = 10 * np.log10(float(np.mean(tone(0.5) ** 2)) / float(np.mean(part**2)))
    assert found == pytest.approx(ratio_db, abs=1e-6)
    assert np.allclose(rest / noise, rest[0] / noise[0])  # the noise is only scaled


def test_level_is_that_of_speech_and_not_of_its_pauses() -> None:
    """A second of pauses changes nothing about the level."""
    assert decibels(speech_power(at_level(with_silence(tone(1.0)), -22.0))) == pytest.approx(-22.0, abs=1e-6)


def test_a_mixture_knows_where_speech_begins_and_ends() -> None:
    """Half a second of noise, the trimmed speech, and the tail."""
    speech = trimmed(with_silence(tone(1.0)))
    assert len(speech) == RATE
    made = in_noise(speech, "fans", 20.0, 7, lead_s=0.5, tail_s=0.7, level_db=-22.0)
    assert (made.began_s, made.ended_s, made.duration_s) == (0.5, 1.5, 2.2)
    again = in_noise(speech, "fans", 20.0, 7, lead_s=0.5, tail_s=0.7, level_db=-22.0)
    assert np.array_equal(made.samples, again.samples)


def test_a_peak_that_does_not_fit_turns_the_whole_down() -> None:
    """Nothing is clipped: the shape stays."""
    loud = from_samples(to_samples(tone(0.1, level=3.0)))
    assert np.max(np.abs(loud)) == pytest.approx(CEILING, abs=1e-4)
    assert np.allclose(loud / CEILING, tone(0.1, level=3.0) / 3.0, atol=1e-3)


def test_stretching_lowers_and_lengthens() -> None:
    """Eight per cent longer is eight per cent lower."""
    made = stretched(tone(1.0, hertz=540.0), 1.08)
    assert len(made) == pytest.approx(1.08 * RATE, abs=2)
    spectrum = np.abs(np.fft.rfft(made))
    assert np.argmax(spectrum) * RATE / len(made) == pytest.approx(500.0, abs=2)


def test_words_are_joined_at_one_level_with_pauses() -> None:
    """A loud and a soft word become equal, the pause between them is as long as asked."""
    made = joined([with_silence(tone(0.2, 0.5)), with_silence(tone(0.2, 0.01))], [0.1], -22.0)
    assert len(made) == round(0.5 * RATE)
    first, last = made[: RATE // 5], made[-RATE // 5 :]
    assert np.mean(first**2) == pytest.approx(np.mean(last**2), rel=1e-6)
    assert not np.any(made[RATE // 5 : RATE // 5 + RATE // 10])


def test_noise_that_is_too_short_or_silent_is_refused() -> None:
    """There is then no ratio to set."""
    with pytest.raises(ValueError, match="shorter"):
        mix(tone(1.0), np.ones(RATE), 10.0, 100)
    with pytest.raises(ValueError, match="silent"):
        mix(tone(1.0), np.zeros(2 * RATE), 10.0, 100)
