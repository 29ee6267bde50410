"""The foreground: what is far under the voice is turned down, and the voice comes to one level."""

import numpy as np
import pytest
from hypothesis import given, strategies as st
from hypothesis.extra import numpy as arrays

from assistant.hearing.foreground import (
    DEFAULT_GATE,
    FRAME,
    MOST_GAIN_DB,
    SPEECH_DB,
    levels,
    loudness,
    opened,
    prepared,
)
from assistant.hearing.sound import FULL_SCALE, RATE, Samples, level_db


def tone(level_db: float, seconds: float = 1.0, hertz: float = 500.0) -> Samples:
    """A tone whose mean square has this level."""
    time = np.arange(round(seconds * RATE)) / RATE
    wave = np.sqrt(2) * 10 ** (level_db / 20) * FULL_SCALE * np.sin(2 * np.pi * hertz * time)
    return np.asarray(np.rint(wave), np.int16)


def test_a_frame_has_the_level_of_its_mean_square() -> None:
    """A level is that of the mean square within the band of speech, as `level_db` gives it for a tone inside it."""
    sound = tone(-30.0)
    assert levels(sound)[5:-5] == pytest.approx(level_db(sound), abs=0.2)


def test_hum_and_offset_do_not_count() -> None:
    """A strong hum of the mains and a constant offset do not raise the level of the voice."""
    loud = tone(-10.0, hertz=50.0).astype(np.int32) + 3000
    assert loudness(levels(loud.astype(np.int16))) < -40


@pytest.mark.parametrize("level", [-62.0, -52.0, -35.0, -12.0])
def test_a_voice_comes_to_one_level(level: float) -> None:
    """However loud the microphone is set, the recogniser gets the same level."""
    assert loudness(levels(prepared(tone(level)))) == pytest.approx(SPEECH_DB, abs=0.5)


def test_silence_does_not_become_a_storm() -> None:
    """Sound with next to nothing in it is raised by no more than the limit."""
    faint = np.random.default_rng(1).normal(0, 0.8, RATE).round().astype(np.int16)
    assert level_db(prepared(faint)) < level_db(faint) + MOST_GAIN_DB + 0.5


def test_what_lies_far_under_the_voice_is_turned_down() -> None:
    """Talk 24 dB under the voice is 24 dB and the gate's depth under it afterwards; the voice stays whole."""
    sound = np.concatenate([tone(-44.0), tone(-20.0), tone(-44.0)])
    found = levels(prepared(sound))
    assert found[110:190] == pytest.approx(SPEECH_DB, abs=0.5)
    assert found[5:80].max() < SPEECH_DB - 24 - DEFAULT_GATE.closed_db + 2
    assert found[215:295].max() < SPEECH_DB - 24 - DEFAULT_GATE.closed_db + 2


def test_the_gate_opens_before_the_voice_and_stays_open_after_it() -> None:
    """Soft sounds beside loud ones belong to the word."""
    found = np.full(100, -60.0, np.float32)
    found[50] = -20.0
    frames = np.flatnonzero(opened(found, -20.0))
    second = RATE // FRAME
    assert frames[0] == 50 - round(DEFAULT_GATE.opens_s * second)
    assert frames[-1] == 50 + round(DEFAULT_GATE.holds_s * second)


def test_steady_noise_just_under_the_voice_is_left_alone() -> None:
    """In loud noise there is no background that the gate could take away, and it does not open and close."""
    noise = np.random.default_rng(2).normal(0, 2000, 2 * RATE)
    noise[RATE // 2 : RATE] += tone(-21.0, 0.5)
    found = levels(noise.astype(np.int16))
    assert opened(found, loudness(found)).all()


def test_a_soft_end_belongs_to_the_word_and_talk_beside_it_does_not() -> None:
    """12 dB under the voice and next to it is its end; 12 dB under it and half a second away is somebody else."""
    found = np.full(200, -60.0, np.float32)
    found[50:60] = -20.0
    found[60:78] = -33.0
    found[130:150] = -32.0
    is_open = opened(found, -20.0)
    assert is_open[50:78].all()
    assert not is_open[110:].any()


@given(arrays.arrays(np.int16, st.integers(0, 3000)))
def test_any_sound_gives_sound_of_the_same_length(samples: Samples) -> None:
    """Whatever comes in, as many samples come out, of the same kind."""
    found = prepared(samples)
    assert (found.dtype, found.size) == (np.dtype(np.int16), samples.size)
