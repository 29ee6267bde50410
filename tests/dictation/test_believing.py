"""Words that a machine wrote are believed only within Whisper's own limits."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, strategies as st

from assistant.dictation.believing import believed
from assistant.record.transcripts import LONGEST, MOST, NoteSegment

GOOD = NoteSegment(0.4, 3.2, " Pin two is  green.\n", -0.44, 0.02, 0.94)


def test_good_words_stay_on_one_line() -> None:
    """Spaces and line breaks of the model become single spaces."""
    assert believed([GOOD]) == (replace(GOOD, words="Pin two is green."),)


@pytest.mark.parametrize(
    "worse",
    [
        {"log_probability": -1.01},
        {"no_speech": 0.61},
        {"compression": 2.41},
        {"log_probability": float("nan")},
        {"words": "w" * 41},
        {"words": "word " * 401},
    ],
)
def test_each_limit_alone_takes_the_words_and_leaves_the_place(worse: dict[str, float]) -> None:
    """Improbable words, words where nobody speaks, words that repeat themselves, and words too long to be said.

    The limits are those of the paper on Whisper (Radford et al. 2022, 4.5).
    """
    (one,) = believed([replace(GOOD, **worse)])  # type: ignore[arg-type]
    assert ("", GOOD.begin_s, GOOD.end_s) == (one.words, one.begin_s, one.end_s)


@pytest.mark.parametrize("limits", [{"log_probability": -1.0}, {"no_speech": 0.6}, {"compression": 2.4}])
def test_words_at_a_limit_are_believed(limits: dict[str, float]) -> None:
    """The limit itself still counts."""
    assert believed([replace(GOOD, **limits)])[0].words


def test_a_segment_without_any_word_is_none() -> None:
    """On noise the model often writes a single dot; that is not even something that was not understood."""
    assert () == believed([replace(GOOD, words=" . "), replace(GOOD, words="")])


@given(st.lists(st.text(max_size=30), max_size=MOST + 20))
def test_no_note_grows_beyond_what_can_be_kept(words: list[str]) -> None:
    """Whatever a model writes, the record can hold it."""
    kept = believed([replace(GOOD, words=one) for one in words])
    assert len(kept) <= MOST
    assert all(len(one.words) <= LONGEST and "\n" not in one.words for one in kept)
