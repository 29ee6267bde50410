"""Phrases that might have been said instead of an answer."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, strategies as st

from assistant import resources
from assistant.core.values.result import Control, GrammarRequest
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing import rivals
from assistant.hearing.acoustics import OUTPUTS, PHONE_NUMBERS
from assistant.hearing.phone_sums import aligned, floor, forward
from assistant.hearing.rivals import InPhones, RivalPhrases

GRAMMARS = GrammarSet.load(resources.directory("grammars"))
REQUEST = GrammarRequest(("lit", "dim", "dark", "blinking"), (), (Control.SAY_AGAIN, Control.SKIP))


def some_sound(seed: int, steps: int = 30) -> np.ndarray:
    """Probabilities with the floor of steps that each prefer one or two outputs."""
    found = np.random.default_rng(seed).dirichlet(np.full(OUTPUTS, 0.05), steps)
    return floor(np.log(np.maximum(found, 1e-9)).astype(np.float32))


@given(st.integers(0, 10_000), st.lists(st.integers(1, OUTPUTS - 1), min_size=1, max_size=8, unique=True))
def test_no_way_to_speak_a_phrase_is_likelier_than_its_bound(seed: int, phones: list[int]) -> None:
    """By definition: along the likeliest path the phrase falls short of the likeliest outputs by its bound or more."""
    sound = some_sound(seed)
    path = aligned(sound, tuple(phones))
    assert path is not None
    labels = np.where(path >= 0, np.array(phones)[path], 0)
    lost = np.log(sound.max(axis=1)).sum() - np.log(sound[np.arange(len(sound)), labels]).sum()
    assert lost >= rivals.costs_of(sound)[phones].sum() - 1e-9


def test_the_phrase_that_was_said_is_among_the_compared_ones() -> None:
    """Of all phrases of a step with other meanings, the likeliest by its sum is found through the bounds."""
    grammar = GRAMMARS.request(REQUEST)
    known = RivalPhrases.of_grammar(grammar)
    for text in ("blinking", "dark", "say again"):
        names = grammar.lexicon.phones(text.split())
        assert names is not None
        spoken = np.full((2 * len(names) + 1, OUTPUTS), 0.002)
        spoken[::2, 0] = 0.9
        for at, name in enumerate(names):
            spoken[2 * at + 1, PHONE_NUMBERS[name]] = 0.9
        sound = floor(np.log(spoken).astype(np.float32))
        found = known.likeliest(rivals.costs_of(sound), grammar.parse("dim"))
        best = found[int(np.argmax(forward(sound, found)))]
        assert tuple(PHONE_NUMBERS[name] for name in names) == best


def test_phrases_with_the_meaning_of_the_answer_are_no_rivals() -> None:
    """None of the compared phrases means the same as the answer, and all pronunciations are known."""
    grammar = GRAMMARS.request(REQUEST)
    known = RivalPhrases.of_grammar(grammar)
    assert known is RivalPhrases.of_grammar(grammar)
    dark = {
        phones
        for text in grammar.phrases()
        if grammar.parse(text) == grammar.parse("dark")
        for phones in rivals.spellings(text.split(), grammar.lexicon)
    }
    assert dark <= set(known.spoken)
    found = known.likeliest(rivals.costs_of(some_sound(1)), grammar.parse("dark"), most=1000)
    assert found
    assert not dark & set(found)


def test_everyday_words_replace_one_word_at_a_time() -> None:
    """Like "dark": "bark", which means nothing here; "park", which means something, is left out."""
    said = InPhones.of(["dark"], [["D", "AA", "R", "K"]])
    costs = rivals.costs_of(some_sound(2))
    meanings = {"park": "something"}
    found = rivals.alike(said, costs, meanings.get, most=1000)
    in_phones = {
        tuple(PHONE_NUMBERS[name] for name in names.split()): names for names in ("B AA R K", "P AA R K")
    }
    assert "B AA R K" in {in_phones.get(one) for one in found}
    assert "P AA R K" not in {in_phones.get(one) for one in found}
    bounds = [costs[list(one)].sum() for one in found]
    assert bounds == pytest.approx(sorted(bounds))
