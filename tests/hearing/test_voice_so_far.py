"""What is known of a voice."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st

from assistant.hearing.voice_so_far import LONGEST, NEW_VOICE, PRIOR


def test_a_new_voice_is_like_all_others() -> None:
    """Before the first answer nothing is moved."""
    assert NEW_VOICE.offset("fit") == 0
    assert NEW_VOICE.after({}) == NEW_VOICE


def test_a_voice_is_believed_more_with_each_answer() -> None:
    """The offset grows towards the voice's own mean: (n x + 0 PRIOR) / (n + PRIOR), the mean with a prior."""
    voice = NEW_VOICE
    for number in range(1, 10):
        voice = voice.after({"fit": -2.0})
        assert voice.offset("fit") == pytest.approx(-2.0 * number / (number + PRIOR))


def test_what_was_long_ago_is_forgotten() -> None:
    """After a new person has given some dozens of answers, the first one hardly counts."""
    voice = NEW_VOICE
    for _ in range(100):
        voice = voice.after({"fit": -2.0})
    for _ in range(150):
        voice = voice.after({"fit": 1.0})
    assert voice.answers == pytest.approx(LONGEST)
    assert voice.offset("fit") == pytest.approx(1.0 * LONGEST / (LONGEST + PRIOR), abs=0.1)


@given(st.lists(st.dictionaries(st.sampled_from(["fit", "worst"]), st.floats(-9, 9))))
def test_an_offset_lies_within_what_was_measured(answers: list[dict[str, float]]) -> None:
    """Whatever was measured, in any order, the offset is no further out than the furthest answer."""
    voice = NEW_VOICE
    for one in answers:
        voice = voice.after(one)
    for name in ("fit", "worst"):
        seen = [0.0, *(one[name] for one in answers if name in one)]
        assert min(seen) - 1e-9 <= voice.offset(name) <= max(seen) + 1e-9
