"""What was perceived, in words."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, strategies as st

from assistant.core.values.perceived import Perceived
from assistant.core.values.result import Result
from assistant.core.values.witness import Figure, Witness
from assistant.core.words.perceiving import SPEED, reading_asked, reading_words, speed_of


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("12.4000", "12.4 volts."),
        ("12.00", "12 volts."),
        ("0.0500", "0.05 volts."),
        ("14.2178", "14.22 volts."),
        ("100", "100 volts."),
        ("0.000", "0 volts."),
        ("-12.40", "-12.4 volts."),
    ],
)
def test_a_reading_is_read_back_in_four_digits_at_most(value: str, words: str) -> None:
    """Zeros behind the last digit are not said, and no exponent ever is."""
    assert words == reading_words(Decimal(value), "V")


@given(st.text())
def test_any_text_is_a_speed_or_none(text: str) -> None:
    """A figure of a damaged record is no reason to fail: it is a speed that an engine could have, or nothing."""
    seen = Perceived(0.0, Witness.EAR, Result(outcome="slow"), figures=(Figure(SPEED, text),))
    speed = speed_of(seen)
    assert speed is None or 0 < speed < 10000


@pytest.mark.parametrize(
    ("value", "unit", "asked"),
    [("12.4000", "V", "12.4?"), ("3.86", "kilohm", "3.86 kilohms?"), ("0", "ohm", "0 ohms?")],
)
def test_a_reading_is_asked_with_its_unit_only_where_that_is_not_the_steps_own(
    value: str, unit: str, asked: str
) -> None:
    """A glance misreads the unit of another range, so that one is said."""
    assert asked == reading_asked(Decimal(value), unit, "V")
