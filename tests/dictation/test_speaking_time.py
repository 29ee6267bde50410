"""The part of a note in which somebody speaks."""

from __future__ import annotations

import numpy as np
import pytest
from noted_session import spoken_note

from assistant.dictation.speaking_time import spoken_part
from assistant.hearing.activity import CHUNK
from assistant.hearing.baynoise import KINDS, bay_noise
from assistant.hearing.sound import RATE, Samples


class Marked:
    """Says that somebody speaks in the chunks that hold a sample above zero."""

    def probability(self, chunk: Samples) -> float:
        return float(chunk.max() > 0)

    def reset(self) -> None:
        """Nothing is remembered."""


def marked(count: int, *spoken: int) -> Samples:
    """So many chunks, with speech in these."""
    made = np.zeros((count, CHUNK), np.int16)
    made[list(spoken)] = 1
    return made.ravel()


def test_it_reaches_from_the_first_to_the_last_speech_with_a_margin() -> None:
    """Pauses inside stay, silence outside goes, and soft sounds at the ends are kept for 0.4 s."""
    assert (38 * CHUNK, 93 * CHUNK) == spoken_part(marked(200, 50, 51, 70, 80), Marked())


def test_the_margin_ends_with_the_note() -> None:
    """Speech at the very ends is taken whole."""
    assert (0, 10 * CHUNK) == spoken_part(marked(10, 0, 1, 9), Marked())


@pytest.mark.parametrize("spoken", [(), (3,), (3, 9)])
def test_a_knock_is_not_speech(spoken: tuple[int, ...]) -> None:
    """Less than a tenth of a second begins no utterance in a session either."""
    assert spoken_part(marked(20, *spoken), Marked()) is None


def test_a_note_shorter_than_a_chunk_has_none() -> None:
    """As the note that ended before any sound came."""
    assert spoken_part(np.zeros(0, np.int16)) is None
    assert spoken_part(np.zeros(CHUNK - 1, np.int16)) is None


def test_the_bundled_model_finds_the_speech_of_a_recorded_note() -> None:
    """The recording is nearly all speech; with a second of silence at both ends the same part is found."""
    sound = spoken_note()
    silence = np.zeros(RATE, np.int16)
    found = spoken_part(np.concatenate([silence, sound, silence]))
    assert found is not None
    begin, end = found
    assert 0.4 * RATE <= begin <= 1.5 * RATE
    assert 0.7 * len(sound) <= end - begin <= len(sound) + RATE


@pytest.mark.parametrize("kind", KINDS)
def test_nobody_speaks_in_bay_noise(kind: str) -> None:
    """Loud noise of every kind is no speech to the bundled model."""
    noise = bay_noise(kind, 4.0, RATE, 5) * 3000
    assert spoken_part(np.clip(noise, -32768, 32767).astype(np.int16)) is None
