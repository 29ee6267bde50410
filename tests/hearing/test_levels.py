"""A quiet microphone is lifted for voice activity; a bad level is told once."""

from __future__ import annotations

import numpy as np
import pytest
from heard_sounds import sound

from assistant.hearing.activity import CHUNK, SileroActivity
from assistant.hearing.levels import LevelOf, LevelWatch, Lift, Trouble, cure
from assistant.hearing.sound import FULL_SCALE, RATE, Samples


def louder(samples: Samples, gain_db: float) -> Samples:
    """The sound so much louder, cut off at full scale."""
    turned = np.rint(samples * 10 ** (gain_db / 20))
    return np.asarray(np.clip(turned, -FULL_SCALE, FULL_SCALE - 1), np.int16)


def spoken(samples: Samples, *, lifted: bool) -> float:
    """Share of the chunks that are speech to the model."""
    activity, lift = SileroActivity(), Lift()
    chunks = [samples[start : start + CHUNK] for start in range(0, samples.size - CHUNK + 1, CHUNK)]
    found = [activity.probability(lift.lifted(chunk) if lifted else chunk) for chunk in chunks]
    return float(np.mean([value >= 0.5 for value in found]))


def test_a_quiet_microphone_is_lifted_for_voice_activity() -> None:
    """The model does not hear what is 50 dB quieter; lifted, it hears nearly as much as before."""
    usual = sound("switched-side-blinking")
    quiet = louder(usual, -50)
    assert spoken(quiet, lifted=False) < 0.5 * spoken(usual, lifted=False)
    assert spoken(quiet, lifted=True) > 0.8 * spoken(usual, lifted=False)


def test_noise_is_not_lifted_into_speech() -> None:
    """Noise alone stays no speech, at any level."""
    for gain in (-40, -20, 0):
        assert spoken(louder(sound("noise"), gain), lifted=True) < 0.05


def test_a_loud_microphone_is_left_alone() -> None:
    """Sound is never made quieter."""
    lift = Lift()
    chunk = np.full(CHUNK, 20_000, np.int16)
    chunk[::2] *= -1
    assert lift.lifted(chunk) is chunk


@pytest.mark.parametrize(("gain_db", "trouble"), [(-45, Trouble.QUIET), (0, None), (30, Trouble.CLIPPED)])
def test_the_level_of_speech_tells_what_to_turn(gain_db: float, trouble: Trouble | None) -> None:
    """Too quiet and cut off are found, and a usual level is neither."""
    assert LevelOf.of(louder(sound("dark"), gain_db)).trouble is trouble


def test_hum_under_the_voice_is_found() -> None:
    """A hum of 50 Hz louder than the voice is told; the voice is still measured beside it."""
    voice = sound("dark")
    hum = 9000 * np.sin(2 * np.pi * 50 * np.arange(voice.size) / RATE)
    level = LevelOf.of((louder(voice, -15) + hum).astype(np.int16))
    assert level.trouble is Trouble.HUM
    assert level.voice_db == pytest.approx(LevelOf.of(louder(voice, -15)).voice_db, abs=1.5)


def test_trouble_is_told_once_and_again_only_after_it_was_better() -> None:
    """Two of three utterances decide, both ways."""
    watch = LevelWatch()
    quiet, fine = LevelOf(-58.0, 0.0, -80.0), LevelOf(-25.0, 0.0, -80.0)
    told = [
        watch.spoken(level) for level in (fine, quiet, quiet, quiet, quiet, fine, fine, fine, quiet, quiet)
    ]
    assert told == [False, False, True, False, False, False, True, False, False, True]
    assert watch.trouble is Trouble.QUIET


def test_the_cure_names_the_figure_and_what_to_turn() -> None:
    """A person can act on it."""
    said = cure(Trouble.QUIET, LevelOf(-58.0, 0.0, -80.0))
    assert said == "Speech at -58 dB of full scale. Turn up its recording level or boost, or hold it nearer."
    assert "12 %" in cure(Trouble.CLIPPED, LevelOf(-5.0, 0.12, -80.0))
