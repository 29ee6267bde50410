"""A whole piece of sound, heard as the ear hears an utterance."""

from __future__ import annotations

import numpy as np
import pytest
from heard_sounds import GRAMMARS, LAMP, sound

from assistant.core.values.result import Result
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing.sound import Samples
from assistant.hearing.whole import hear_whole, normal, padded
from assistant.measured import DEFAULT_THRESHOLDS


@pytest.fixture(scope="module")
def recogniser() -> Recogniser:
    return Recogniser(find_model())


def heard(recogniser: Recogniser, samples: Samples) -> Result | None:
    """The accepted answer in a sound."""
    judged, _ = hear_whole(recogniser, GRAMMARS.request(LAMP), samples, DEFAULT_THRESHOLDS)
    return judged.result if judged.accepted else None


def tightly(samples: Samples) -> Samples:
    """The sound cut where it becomes loud."""
    loud = np.flatnonzero(np.abs(samples.astype(np.int32)) > 1500)
    return samples[loud[0] : loud[-1] + 1]


@pytest.mark.parametrize("gain_db", [-45, -30, 0, 12])
@pytest.mark.parametrize("name", ["feed-lit", "dark"])
def test_any_level_and_a_tight_cut_are_heard(recogniser: Recogniser, name: str, gain_db: int) -> None:
    """A file may be very quiet, overdriven by 12 dB, and hold nothing but the words."""
    turned = tightly(sound(name)) * 10 ** (gain_db / 20)
    samples = np.clip(np.rint(turned), -32768, 32767).astype(np.int16)
    expected = Result(outcome="lit", place="feed") if name == "feed-lit" else Result(outcome="dark")
    assert expected == heard(recogniser, samples)


def test_noise_and_silence_are_nothing(recogniser: Recogniser) -> None:
    """Making faint sound louder finds no words in it."""
    assert heard(recogniser, sound("noise")) is None
    assert heard(recogniser, (sound("noise") * 0.003).astype(np.int16)) is None
    assert heard(recogniser, np.zeros(16000, np.int16)) is None


def test_no_sound_at_all_is_bearable(recogniser: Recogniser) -> None:
    """An empty or very short piece is heard as nothing."""
    for size in (0, 1, 100):
        assert heard(recogniser, np.ones(size, np.int16)) is None
        assert normal(np.ones(size, np.int16)).size == size
        assert padded(np.ones(size, np.int16)).size > size
