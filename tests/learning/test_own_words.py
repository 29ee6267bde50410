"""A technician's own words, checked against the shipped grammars and procedures."""

from __future__ import annotations

import pytest

from assistant import resources
from assistant.core.values.own_word import OwnWord
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.errors import UsageProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.network import Position
from assistant.learning.own_words import check, own_word
from assistant.loading.folder import load_library

GRAMMARS = GrammarSet.load(resources.directory("grammars"))
LIBRARY = load_library(resources.directory("procedures"))
HERE = Position("own words", 0)
LIT = OwnWord("she's lit", "outcome", "lit")


def test_own_words_count_wherever_the_answer_does() -> None:
    """In a step with "lit", with a place too, and where "lit" stands for another name; nowhere else."""
    taught = GRAMMARS.taught((LIT,), HERE)
    lamp = taught.request(GrammarRequest(("lit", "dim", "dark"), controls=(Control.STOP,)))
    assert lamp.parse("she's lit") == Result(outcome="lit")
    assert lamp.parse("feed she's lit") == Result(outcome="lit", place="feed")
    warning = taught.request(GrammarRequest(("lamp-on", "lamp-off")))
    assert warning.parse("she's lit") == Result(outcome="lamp-on")
    assert taught.request(GrammarRequest(("present", "missing"))).parse("she's lit") is None
    assert GRAMMARS.request(lamp.request).parse("she's lit") is None


def test_own_words_that_sound_like_nothing_else_are_taken() -> None:
    """The example of the help text passes the check, however it is typed."""
    word = own_word("She\N{RIGHT SINGLE QUOTATION MARK}s  LIT", "lit", GRAMMARS)
    assert word == LIT
    check(word, GRAMMARS, LIBRARY)


@pytest.mark.parametrize(
    ("words", "means", "neighbour"),
    [("it's lid", "lit", "it's dead"), ("knot", "dark", "not sure"), ("lit", "dark", "another answer")],
)
def test_a_refusal_names_the_neighbour_and_the_step(words: str, means: str, neighbour: str) -> None:
    """Words that sound like another answer of some step are refused, with both named."""
    word = own_word(words, means, GRAMMARS)
    with pytest.raises(UsageProblem, match=r"at step '[a-z-]+' of '[a-z-]+'") as refused:
        check(word, GRAMMARS, LIBRARY)
    assert neighbour in str(refused.value)


@pytest.mark.parametrize(
    ("words", "means", "why"),
    [
        ("two lit", "lit", "part of numbers"),
        ("gizmox", "lit", "dictionary"),
        ("1 lit", "lit", "in letters"),
        ("", "lit", "in letters"),
        ("one of these very long sentences", "lit", "in letters"),
        ("shining", "shiny", "No answer is called"),
    ],
)
def test_what_cannot_be_an_answer_is_refused_in_a_sentence(words: str, means: str, why: str) -> None:
    """Numbers, unknown words, digits, sentences and unknown meanings are refused before anything is compared."""
    with pytest.raises(UsageProblem, match=why):
        own_word(words, means, GRAMMARS)


def test_own_words_with_another_meaning_must_be_thrown_away_first() -> None:
    """One phrase has one meaning."""
    with pytest.raises(UsageProblem, match="means lit already"):
        own_word("she's lit", "dark", GRAMMARS, (LIT,))


def test_own_words_of_an_answer_that_is_gone_are_told() -> None:
    """A file from another set of grammars is refused with the remedy."""
    with pytest.raises(UsageProblem, match="--forget"):
        GRAMMARS.taught((OwnWord("glowy", "outcome", "gone"),), HERE)
