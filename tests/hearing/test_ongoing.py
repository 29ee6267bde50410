"""Speech that was going on when listening began, from its probabilities alone."""

from __future__ import annotations

import pytest

from assistant.hearing.activity import CHUNK_S
from assistant.hearing.ongoing import TAKEN_UP_S, Ongoing

SPEECH, SILENCE = 0.9, 0.1


def heard(ongoing: Ongoing, *chunks: float) -> bool:
    for probability in chunks:
        ongoing.count(probability)
    return ongoing.began()


@pytest.mark.parametrize("silent", range(6))
def test_unbroken_speech_since_the_beginning_was_going_on(silent: int) -> None:
    """Speech from the first or second chunk of listening is old, from the third it is new."""
    ongoing = Ongoing()
    for _ in range(10):
        ongoing.count(SPEECH)
    ongoing.listens()
    assert (silent < 2) is heard(ongoing, *[SILENCE] * silent, *[SPEECH] * 3)


def test_whoever_was_talked_over_may_go_on_after_a_pause() -> None:
    """Soon after the microphone opens it may be the rest of a number; later it is a new answer, and so is the next."""
    pause = round(TAKEN_UP_S / CHUNK_S)
    for silent, goes_on in ((pause - 3, True), (pause + 3, False)):
        ongoing = Ongoing()
        ongoing.closes(inside=True)
        ongoing.listens()
        assert goes_on is heard(ongoing, *[SILENCE] * silent, *[SPEECH] * 3)
        ongoing.listens()
        assert not heard(ongoing, *[SILENCE] * 4, *[SPEECH] * 3)


def test_an_answer_that_was_about_to_begin_was_talked_over_too() -> None:
    """Two chunks of speech before the assistant speaks are a beginning; the rest of its own voice is none."""
    for before, goes_on in (
        ((SILENCE,) * 9 + (SPEECH,) * 2, True),
        ((SPEECH,) * 4, False),
        ((SILENCE,) * 9, False),
    ):
        ongoing = Ongoing()
        ongoing.listens()
        for probability in before:
            ongoing.count(probability)
        ongoing.closes(inside=False)
        ongoing.listens()
        assert goes_on is heard(ongoing, *[SILENCE] * 5, *[SPEECH] * 3)
