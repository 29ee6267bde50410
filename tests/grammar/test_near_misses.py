"""Near misses: everyday words that sound almost like a phrase, and mean nothing here."""

from __future__ import annotations

import pytest

from assistant import resources
from assistant.core.values.result import Control, GrammarRequest
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.lexicon import distance
from assistant.grammar.near_misses import FARTHEST, NEAREST, everyday, near_misses

GRAMMARS = GrammarSet.load(resources.directory("grammars"))
STEP = GRAMMARS.request(
    GrammarRequest(
        outcomes=("lit", "dim", "dark"),
        units=("V", "mV"),
        controls=(Control.AFFIRM, Control.STOP, Control.SKIP),
    )
)
MISSES = near_misses(STEP)


def test_no_near_miss_is_a_phrase_of_the_grammar_or_sounds_like_one() -> None:
    """Whoever says a near miss has answered nothing, and a perfect ear could tell."""
    assert len(MISSES) > 100
    said = {STEP.lexicon.phones(phrase.split()) for phrase in STEP.phrases()}
    for miss in MISSES:
        assert STEP.parse(miss.text) is None
        assert miss.sound not in said


def test_distances_are_those_of_the_lexicon() -> None:
    """The quick comparison of many words at once gives the same distance as the plain one of two, within the limits."""
    for miss in MISSES:
        whole = STEP.lexicon.phones(miss.like.split())
        assert whole is not None
        assert NEAREST <= miss.distance <= FARTHEST
        # A split or a replaced word may have a cheaper alignment across its border.
        assert distance(whole, miss.sound) <= miss.distance + 1e-6


@pytest.mark.parametrize(
    ("heard", "phrase"), [("skirt", "skip"), ("a farm", "affirm"), ("stock", "stop"), ("shop", "stop")]
)
def test_words_that_people_were_taken_for_are_found(heard: str, phrase: str) -> None:
    """Outside check: recordings of people saying the first were taken for the second by earlier models, or nearly."""
    found = {miss.text for miss in near_misses(STEP, [phrase], of_each=10_000)}
    assert heard in found


def test_a_number_is_missed_by_no_other_spelling_of_it() -> None:
    """Of "four volts" there is no near miss "for volts" or "fore volts", but one with another sound."""
    found = {miss.text for miss in near_misses(STEP, ["four volts"], of_each=10_000)}
    assert found.isdisjoint({"for volts", "fore volts", "four volts"})
    assert "war volts" in found


def test_phrases_of_other_grammars_are_left_out_when_told() -> None:
    """A word that is an answer elsewhere is no near miss for training."""
    every = {miss.text for miss in near_misses(STEP, ["lit"], of_each=10_000)}
    fewer = {
        miss.text for miss in near_misses(STEP, ["lit"], of_each=10_000, elsewhere=lambda text: text == "hit")
    }
    assert {"hit"} == every - fewer


def test_the_same_grammar_gives_the_same_near_misses() -> None:
    """What is trained and tried does not depend on the run."""
    assert near_misses(STEP) == MISSES


def test_everyday_words_can_be_pronounced() -> None:
    """The list holds thousands of words, and each has phones."""
    words = {word for word, phones in everyday().words if phones}
    assert len(words) > 11_000
    assert {"skirt", "farm", "pig", "you", "coffee"} <= words
