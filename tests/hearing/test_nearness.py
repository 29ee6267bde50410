"""Speech near the microphone, and talk in the background."""

from __future__ import annotations

import numpy as np

from assistant.hearing.activity import CHUNK, CHUNK_S
from assistant.hearing.nearness import BACKGROUND_DB, BEGINS_DB, GOES_ON_DB, Nearness
from assistant.hearing.sound import FULL_SCALE, SILENCE_DB, Samples


def chunk(level_db: float) -> Samples:
    """A chunk of a tone of 500 Hz with this level."""
    time = np.arange(CHUNK) / 16000
    wave = np.sqrt(2) * 10 ** (level_db / 20) * FULL_SCALE * np.sin(2 * np.pi * 500 * time)
    return np.asarray(np.rint(wave), np.int16)


class Talk:
    """Nearness, fed with chunks."""

    def __init__(self) -> None:
        self.nearness = Nearness()

    def answer(self, level_db: float) -> None:
        """An answer at this level is understood."""
        self.nearness.began()
        self.go(level_db, 0.5, inside=True)
        self.nearness.understood()
        self.go(-90.0, 1.0, heard=0.0)

    def go(self, level_db: float, seconds: float, *, heard: float = 0.9, inside: bool = False) -> float:
        """The last probability after so much sound."""
        found = 0.0
        for _ in range(round(seconds / CHUNK_S)):
            found = self.nearness.probability(chunk(level_db), heard, SILENCE_DB, inside=inside)
        return found


def test_anybody_is_heard_until_somebody_was_understood() -> None:
    """A microphone may be set to any level."""
    assert Talk().go(-60.0, 0.2) > 0.5


def test_background_talk_begins_nothing_once_the_technician_is_known() -> None:
    """Far under the answers before it is a radio; a little under it is the technician."""
    talk = Talk()
    talk.answer(-20.0)
    assert talk.go(-20.0 - BEGINS_DB - 3, 1.0) == 0.0
    assert talk.go(-20.0 - BACKGROUND_DB + 1, 0.2) > 0.5


def test_a_softer_answer_is_heard_at_once_while_nobody_else_talks() -> None:
    """Somebody who speaks a good deal more softly than before is not taken for a radio."""
    talk = Talk()
    talk.answer(-20.0)
    assert talk.go(-20.0 - BEGINS_DB + 2, 0.5) > 0.5


def test_background_talk_does_not_keep_an_utterance_open() -> None:
    """What lies far under the voice of the utterance is silence, and a softer syllable is not."""
    talk = Talk()
    talk.nearness.began()
    talk.go(-25.0, 0.5, inside=True)
    assert talk.go(-25.0 - GOES_ON_DB + 4, 0.3, inside=True) > 0.5
    assert talk.go(-25.0 - GOES_ON_DB - 3, 0.3, inside=True) == 0.0


def test_a_soft_voice_that_is_alone_is_heard_again() -> None:
    """Whoever repeats a word softly is heard after a few times, 30 dB softer as well."""
    talk = Talk()
    talk.answer(-20.0)
    tries = 0
    while talk.go(-50.0, 0.4) == 0.0 and tries < 20:
        talk.go(-90.0, 1.5, heard=0.0)
        tries += 1
    assert 3 <= tries <= 7


def test_a_radio_that_talks_on_is_not_taken_for_a_soft_voice() -> None:
    """Long talk is no word that somebody says again."""
    talk = Talk()
    talk.answer(-20.0)
    for _ in range(10):
        assert talk.go(-45.0, 5.0) == 0.0
        talk.go(-90.0, 1.0, heard=0.0)


def test_talk_that_is_not_understood_makes_it_strict_again() -> None:
    """What was heard only by lenience and was nothing is shut out again."""
    talk = Talk()
    talk.answer(-20.0)
    while talk.go(-45.0, 0.4) == 0.0:
        talk.go(-90.0, 1.0, heard=0.0)
    talk.nearness.began()
    talk.go(-45.0, 0.4, inside=True)
    talk.nearness.not_understood()
    assert talk.go(-45.0, 0.4) == 0.0
    assert talk.nearness.expected_db is not None


def test_the_expected_level_follows_the_technician_and_no_single_bang() -> None:
    """It moves by a part of the way, and a loud accident moves it by little."""
    talk = Talk()
    talk.answer(-30.0)
    talk.answer(-2.0)
    assert talk.nearness.expected_db is not None
    assert -30.0 <= talk.nearness.expected_db < -27.5
    for _ in range(12):
        talk.answer(-40.0)
    assert talk.nearness.expected_db < -38.0


def test_the_technician_begins_inside_talk_that_a_radio_began() -> None:
    """The utterance then begins with the nearer voice; it is told once."""
    talk = Talk()
    talk.answer(-20.0)
    talk.nearness.began()
    talk.go(-31.0, 1.0, inside=True)
    assert not talk.nearness.nearer_began()
    talk.go(-20.0, 0.16, inside=True)
    assert talk.nearness.nearer_began()
    assert not talk.nearness.nearer_began()


def test_a_soft_first_word_belongs_to_the_answer() -> None:
    """A word of the technician that is softer than the next is no radio."""
    talk = Talk()
    talk.answer(-20.0)
    talk.nearness.began()
    talk.go(-28.0, 0.3, inside=True)
    talk.go(-20.0, 0.16, inside=True)
    assert not talk.nearness.nearer_began()


def test_while_others_talk_their_level_ends_the_utterance() -> None:
    """Talk 9 dB under the technician is silence behind an answer once it was heard between the answers."""
    talk = Talk()
    talk.answer(-20.0)
    talk.go(-29.0, 2.0)
    talk.nearness.began()
    talk.go(-20.0, 0.4, inside=True)
    assert talk.go(-29.0, 0.2, inside=True) == 0.0
