"""The begin and end of an utterance, and how loud the bay is."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, strategies as st

from assistant.hearing.activity import (
    CHUNK,
    CHUNK_S,
    DEFAULT_TIMING,
    Completeness,
    Levels,
    Segment,
    Segmenter,
    SileroActivity,
)
from assistant.hearing.sound import SILENCE_DB

LIMIT = DEFAULT_TIMING


def silence_until_end(completeness: Completeness) -> float:
    """Seconds of silence after which an utterance of these words ends."""
    segmenter = Segmenter()
    for _ in range(20):
        segmenter.feed(0.9, lambda: completeness)
    for number in range(1, 200):
        if segmenter.feed(0.0, lambda: completeness) is Segment.ENDED:
            return number * CHUNK_S
    raise AssertionError("it never ended")


@pytest.mark.parametrize(
    ("completeness", "limit_s"),
    [
        (Completeness.COMPLETE, LIMIT.ends.complete_s),
        (Completeness.UNCONFIRMED, LIMIT.ends.unconfirmed_s),
        (Completeness.LONGER_EXISTS, LIMIT.ends.longer_exists_s),
        (Completeness.MAY_CONTINUE, LIMIT.ends.may_continue_s),
        (Completeness.NO, LIMIT.ends.other_s),
    ],
)
def test_end_follows_the_words(completeness: Completeness, limit_s: float) -> None:
    """The more complete the phrase, the shorter the silence that ends it, to a chunk."""
    assert pytest.approx(limit_s, abs=CHUNK_S) == silence_until_end(completeness)


def test_a_knock_is_no_speech() -> None:
    """Two chunks that look like speech do not begin an utterance, three near each other do."""
    segmenter = Segmenter()
    knock = [segmenter.feed(p, lambda: Completeness.NO) for p in (0.9, 0.9, 0.0, 0.0, 0.0, 0.0, 0.9, 0.0)]
    assert {Segment.SILENCE} == set(knock)
    spoken = [segmenter.feed(p, lambda: Completeness.NO) for p in (0.9, 0.9)]
    assert [Segment.SILENCE, Segment.BEGAN] == spoken


def test_a_pause_inside_a_number_does_not_end_it() -> None:
    """Half a second between "twelve" and "point four" is bridged, because "twelve" may go on."""
    segmenter = Segmenter()
    pause = round(0.5 / CHUNK_S)
    found = [
        segmenter.feed(p, lambda: Completeness.MAY_CONTINUE) for p in [0.9] * 20 + [0.0] * pause + [0.9] * 9
    ]
    assert Segment.ENDED not in found


def test_words_are_only_asked_for_when_it_matters() -> None:
    """The recogniser is not asked during speech, nor in a closure inside a word (0.16 s)."""

    def asked() -> Completeness:
        raise AssertionError("asked too early")

    segmenter = Segmenter()
    for probability in [0.9] * 20 + [0.0] * 5 + [0.9] * 5:
        segmenter.feed(probability, asked)


@given(st.lists(st.floats(0, 1), max_size=600), st.sampled_from(Completeness))
def test_any_sequence_begins_and_ends_in_turn(probabilities: list[float], completeness: Completeness) -> None:
    """For any probabilities, begin and end alternate and no utterance is longer than the limit."""
    segmenter = Segmenter()
    length, inside = 0, False
    for probability in probabilities:
        found = segmenter.feed(probability, lambda: completeness)
        if found is Segment.BEGAN:
            assert not inside
            inside, length = True, 0
        elif found is Segment.ENDED:
            assert inside
            inside = False
        else:
            assert (Segment.SPEECH if inside else Segment.SILENCE) is found
        length += 1
        assert not inside or length * CHUNK_S <= LIMIT.longest_s
    assert inside == segmenter.inside


def at_level(db: float, chunks: int, seed: int) -> list[np.ndarray]:
    generator = np.random.default_rng(seed)
    noise = generator.normal(0, 32768 * 10 ** (db / 20), (chunks, CHUNK))
    return list(np.clip(np.rint(noise), -32768, 32767).astype(np.int16))


def test_noise_level_is_followed() -> None:
    """The level is right from the first second, and has gone over to a new one after a few time constants."""
    levels = Levels()
    assert SILENCE_DB == levels.noise_db
    for chunk in at_level(-50, 40, 1):
        levels.noise(chunk)
    assert levels.settled
    assert pytest.approx(-50, abs=0.5) == levels.noise_db
    for chunk in at_level(-30, 200, 2):
        levels.noise(chunk)
    assert pytest.approx(-30, abs=0.5) == levels.noise_db


@pytest.mark.parametrize("ratio_db", [0, 10, 20])
def test_signal_to_noise_ratio(ratio_db: int) -> None:
    """Speech at a known level over the noise is stated to a decibel, pauses in it notwithstanding."""
    levels = Levels()
    for chunk in at_level(-40, 60, 3):
        levels.noise(chunk)
    levels.begin()
    assert levels.snr_db() is None
    both = zip(at_level(-40, 30, 4), at_level(-40 + ratio_db, 30, 5), strict=True)
    for number, (noise, speech) in enumerate(both):
        levels.speech(noise if number % 3 == 0 else noise + speech)
    assert pytest.approx(ratio_db, abs=1.0) == levels.snr_db()
    assert pytest.approx(-40 + ratio_db, abs=1.0) == levels.speech_db()


def test_the_bundled_model_tells_nothing_from_noise() -> None:
    """Noise and digital silence are not speech to the voice-activity model."""
    activity = SileroActivity()
    for chunk in [*at_level(-30, 30, 6), *[np.zeros(CHUNK, np.int16)] * 10]:
        assert activity.probability(chunk) < LIMIT.go_on_at
    activity.reset()
