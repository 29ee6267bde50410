"""Judging what a recognition counts for."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, strategies as st

from assistant import resources
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.judge import UNVERIFIED, judge
from assistant.hearing.recognition import Alternative, Recognition, probabilities
from assistant.measured import DEFAULT_THRESHOLDS

GRAMMAR = GrammarSet.load(resources.directory("grammars")).request(
    GrammarRequest(outcomes=("lit", "dim", "dark"), controls=(Control.STOP,))
)


def recognition(**shares: float) -> Recognition:
    """A recognition whose alternatives have these probabilities; "_" stands for a space, "unk" for the filler."""
    return Recognition.of(
        (
            Alternative(words.replace("unk", "[unk]").replace("_", " "), math.log(share))
            for words, share in shares.items()
        ),
        0.01,
    )


def test_alternatives_of_one_meaning_add_up() -> None:
    """Two ways to say the same do not take confidence from each other."""
    judged = judge(
        recognition(feed_lit=0.45, feed_side_lit=0.35, feed_dim=0.2), GRAMMAR, DEFAULT_THRESHOLDS, speech=True
    )
    assert Result(outcome="lit", place="feed") == judged.result
    assert pytest.approx(0.8) == judged.confidence
    assert judged.accepted


def test_stop_is_obeyed_on_little_confidence() -> None:
    """At a confidence at which an answer is asked again, "stop" counts; at next to none it does not."""
    doubtful = recognition(stop=0.4, dark=0.35, dim=0.25)
    judged = judge(doubtful, GRAMMAR, DEFAULT_THRESHOLDS, speech=True)
    assert (True, Control.STOP) == (judged.accepted, judged.result.control if judged.result else None)
    assert judged.confidence < UNVERIFIED
    nothing = recognition(stop=0.1, lit=0.09, **{f"lit_{n}": 0.09 for n in range(9)})
    assert not judge(nothing, GRAMMAR, DEFAULT_THRESHOLDS, speech=True).accepted


def test_other_words_for_stop_need_the_confidence_of_any_other_word() -> None:
    """The words "kill it" stop as well, but what hardly sounds like them does not."""
    doubtful = judge(recognition(kill_it=0.4, dark=0.35, dim=0.25), GRAMMAR, DEFAULT_THRESHOLDS, speech=True)
    assert (False, Result(control=Control.STOP)) == (doubtful.accepted, doubtful.result)
    sure = judge(recognition(kill_it=0.99, dark=0.01), GRAMMAR, DEFAULT_THRESHOLDS, speech=True)
    assert sure.accepted


@pytest.mark.parametrize("words", ["light_on", "light_off", "off", "dead"])
def test_an_answer_that_sounds_much_like_another_needs_a_yes(words: str) -> None:
    """However sure the recogniser is, "light on" and "light off" are read back; "dark" is not."""
    near = judge(recognition(**{words: 0.999, "unk": 0.001}), GRAMMAR, DEFAULT_THRESHOLDS, speech=True)
    assert near.accepted
    assert near.confidence < DEFAULT_THRESHOLDS.ask_below
    plain = judge(recognition(dark=0.999, unk=0.001), GRAMMAR, DEFAULT_THRESHOLDS, speech=True)
    assert plain.confidence > DEFAULT_THRESHOLDS.ask_below


def test_the_filler_takes_confidence_away() -> None:
    """A phrase that is hardly likelier than other speech is not accepted."""
    judged = judge(recognition(dark=0.45, unk=0.4, dim=0.15), GRAMMAR, DEFAULT_THRESHOLDS, speech=True)
    assert Result(outcome="dark") == judged.result
    assert not judged.accepted


@pytest.mark.parametrize(
    "shares", [{"unk": 0.9, "dark": 0.1}, {"feed": 1.0}, {"lit_dark": 1.0}, {"dark_unk": 1.0}]
)
def test_anything_but_a_whole_phrase_is_nothing(shares: dict[str, float]) -> None:
    """The filler, part of a phrase, two phrases, a phrase beside the filler: no result."""
    judged = judge(recognition(**shares), GRAMMAR, DEFAULT_THRESHOLDS, speech=True)
    assert judged.result is None
    assert not judged.accepted


def test_without_speech_nothing_counts() -> None:
    """Words that the recogniser found in noise are not accepted, however sure it is."""
    judged = judge(recognition(dark=1.0), GRAMMAR, DEFAULT_THRESHOLDS, speech=False)
    assert judged.result is None
    assert not judged.accepted
    assert not judge(Recognition.of((), 0.0), GRAMMAR, DEFAULT_THRESHOLDS, speech=True).accepted


scores = st.lists(st.floats(-1e4, 1e4), min_size=1, max_size=20)


@given(scores)
def test_probabilities_are_a_distribution(values: list[float]) -> None:
    """They sum to 1 and keep the order of the scores, however large those are."""
    shares = probabilities([Alternative("dark", value) for value in values])
    assert pytest.approx(1.0) == sum(shares)
    assert shares[values.index(max(values))] == max(shares)


@given(
    st.dictionaries(
        st.sampled_from(["dark", "dim", "lit", "feed lit", "[unk]", "stop", ""]), st.floats(-50, 50)
    )
)
def test_confidence_is_a_probability(found: dict[str, float]) -> None:
    """Any alternatives give a confidence from 0 to 1, and a word confidence for each word."""
    heard = Recognition.of((Alternative(words, score) for words, score in found.items()), 0.0)
    judged = judge(heard, GRAMMAR, DEFAULT_THRESHOLDS, speech=True)
    assert 0.0 <= judged.confidence <= 1.0
    assert len(heard.words.split()) == len(heard.word_confidences)
    assert all(heard.confidence - 1e-9 <= one <= 1.0 for one in heard.word_confidences)
    assert not judged.accepted or judged.result is not None
