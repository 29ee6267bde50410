"""Costs of numbers that an instrument does not show: small, and never for what it shows."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, strategies as st

from assistant import resources
from assistant.core.values.result import Control, GrammarRequest
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.numbers import by_digits, in_words
from assistant.grammar.priors import arc_costs

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.grammar.step_grammar import StepGrammar

GRAMMARS = GrammarSet.load(resources.directory("grammars"))
VOLTS = [
    GRAMMARS.request(GrammarRequest(units=("V", "mV"), controls=(Control.STOP,), digits=digits))
    for digits in (False, True)
]
MOST = 3.5
"""The highest cost of a whole number: about what one clear sound more is worth to the recogniser."""


def cost_of(words: Sequence[str], grammar: StepGrammar) -> float:
    """The cost of a phrase of the grammar: the sum along its path."""
    costs, automaton = arc_costs(grammar), grammar.automaton()
    state = automaton.start
    whole = 0.0
    for word in words:
        whole += costs.get((state, word), 0.0)
        state = automaton.states[state][word]
    return whole


@given(whole=st.integers(0, 19), decimals=st.integers(0, 99), places=st.integers(0, 2))
def test_whatever_a_voltmeter_shows_costs_nothing(whole: int, decimals: int, places: int) -> None:
    """Normal or not, no voltage of a car with the usual decimals is made less likely than another."""
    value = Decimal(f"{whole}.{decimals:02d}"[: len(str(whole)) + 1 + places].rstrip("."))
    for step in VOLTS:
        assert cost_of(in_words(value).split(), step) == 0
    assert cost_of(by_digits(value).split(), VOLTS[1]) == 0


@given(whole=st.integers(0, 9999), places=st.integers(0, 3), decimals=st.integers(0, 999))
def test_no_number_costs_much(whole: int, places: int, decimals: int) -> None:
    """However odd a reading is, it stays sayable: a fault shows as an abnormal one."""
    value = Decimal(f"{whole}.{decimals:03d}"[: len(str(whole)) + 1 + places].rstrip("."))
    for step in VOLTS:
        words = in_words(value).split()
        assert step.is_complete(" ".join(words))
        assert 0 <= cost_of(words, step) <= MOST + 1.5


@pytest.mark.parametrize(
    "words",
    [
        "seven hundred",
        "seventy",
        "twelve point four five six",
        "one two point three four five",
        "one two three",
    ],
)
def test_what_a_voltmeter_does_not_show_costs_something(words: str) -> None:
    """Hundreds, three decimals, three digits before the point, and numbers over twenty are likelier misheard."""
    assert cost_of(words.split(), VOLTS[1]) > 0


def test_answers_and_words_of_the_dialogue_cost_nothing() -> None:
    """Only numbers have costs; a step without a reading has none."""
    step = GRAMMARS.request(GrammarRequest(outcomes=("lit", "dim"), controls=(Control.STOP,)))
    assert {} == arc_costs(step)
    for phrase in VOLTS[0].phrases():
        assert cost_of(phrase.split(), VOLTS[0]) == 0
