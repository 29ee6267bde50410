"""Slow, normal or too fast, from a speed."""

from __future__ import annotations

import pytest

from assistant.circuit.parameters import PARAMETERS
from assistant.hearing.starter.manner import SLOW_UNDER_RPM, TOO_FAST_OVER_RPM, manner_of


@pytest.mark.parametrize(
    ("rpm", "manner"), [(80, "slow"), (130, "slow"), (170, "normal"), (240, "normal"), (330, "too-fast")]
)
def test_a_clear_speed_has_its_manner(rpm: float, manner: str) -> None:
    """Speeds well inside a range are named, nearly surely."""
    said, share = manner_of(rpm, 5.0, "even", 1.0)
    assert manner == said
    assert share > 0.95


def test_at_the_limit_nothing_is_sure() -> None:
    """A speed at the limit of two manners has about even odds, so it is not proposed as sure."""
    assert manner_of(SLOW_UNDER_RPM, 5.0, "even", 1.0)[1] == pytest.approx(0.5, abs=0.01)
    assert manner_of(TOO_FAST_OVER_RPM, 5.0, "even", 1.0)[1] == pytest.approx(0.5, abs=0.01)


def test_no_rhythm_is_too_fast_and_no_speed_is_nothing() -> None:
    """An engine without compressions spins too fast; where neither is known nothing is said."""
    assert manner_of(None, None, "no-rhythm", 0.9) == ("too-fast", 0.9)
    assert manner_of(None, None, "even", 0.9) == (None, 0.0)


def test_normal_is_the_range_of_the_circuit_model() -> None:
    """What counts as normal includes the circuit model's cranking speeds, the one home of that fact."""
    speed = PARAMETERS["crank-speed"]
    assert speed.low >= SLOW_UNDER_RPM
    assert speed.high <= TOO_FAST_OVER_RPM
