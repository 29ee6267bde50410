"""What a captured ramp is called."""

from __future__ import annotations

import numpy as np
import pytest
from ramp_captures import CIRCUIT, MEASURED, Clamp, captured, fine_time, pulses
from shipped import shipped_library

from assistant.circuit.catalogue import mechanism_named
from assistant.circuit.parameters import Systems
from assistant.circuit.tracing import trace
from assistant.meter.dwells import CurrentCapture
from assistant.meter.shapes import OUTCOMES, classified

CLAMP = Clamp()


def rise(volt: float, ohm: float, henry: float, dwell_s: float, limit_a: float = np.inf) -> np.ndarray:
    """A winding on a voltage, closed form: ``i = V/R (1 - exp(-t R/L))`` (any textbook of circuits), limited."""
    time = fine_time(CLAMP, dwell_s)
    return np.minimum(volt / ohm * (1 - np.exp(-time * ohm / henry)), limit_a)


@pytest.mark.parametrize(
    ("course", "outcome"),
    [
        (rise(10.5, 0.9, 5e-3, 4e-3), "slow-ramp"),
        (rise(9.5, 3.2, 12e-3, 6e-3), "slow-ramp"),
        (rise(11.5, 0.6, 3e-3, 5e-3, limit_a=7.5), "flat-top"),
        (rise(11.5, 0.5, 0.15e-3, 4e-3, limit_a=9.0), "at-once"),
        (np.zeros(100), "no-current"),
    ],
)
@pytest.mark.parametrize("turned", [1, -1])
def test_the_closed_form_is_called_by_its_name(course: np.ndarray, outcome: str, turned: int) -> None:
    """Rises of the closed form, free, limited late and limited at once, are called so, whichever way the clamp lies."""
    capture = pulses(course, 0.13, 1.5, CLAMP, np.random.default_rng(1))
    answer = classified(CurrentCapture(turned * capture.ampere, capture.rate))
    assert outcome == answer.outcome, answer
    assert answer.probability >= 0.85
    assert abs(sum(answer.shares.values()) - 1) < 1e-6
    if outcome == "flat-top":  # t = -L/R ln(1 - I R / V)
        assert answer.limit_ms == pytest.approx(-3e-3 / 0.6 * np.log(1 - 7.5 * 0.6 / 11.5) * 1e3, rel=0.1)


def test_a_current_that_never_stops_is_called_so() -> None:
    """Eight amperes without a pause are constant."""
    capture = CurrentCapture(np.random.default_rng(1).normal(8, 0.05, 30000), 20000.0)
    assert "constant" == classified(capture).outcome


@pytest.mark.parametrize(
    ("fault", "outcome"),
    [
        ("none", "slow-ramp"),
        ("shorted-primary", "at-once"),
        ("control-wire-open", "no-current"),
        ("open-feed", "no-current"),
        ("control-wire-to-ground", "constant"),
    ],
)
def test_faults_of_the_circuit_model_are_called_as_it_calls_them(fault: str, outcome: str) -> None:
    """A typical car of the model, through a clamp with noise, gives the answer that its observers would give."""
    one = trace(CIRCUIT, mechanism_named(CIRCUIT, fault), MEASURED, Systems.typical())
    assert outcome == classified(captured(one, CLAMP, np.random.default_rng(7))).outcome


@pytest.mark.parametrize(
    "capture",
    [
        CurrentCapture(np.zeros(100), 20000.0),
        CurrentCapture(np.zeros(3000), 1000.0),
        CurrentCapture(np.random.default_rng(1).normal(0, 3.0, 30000), 20000.0),
        CurrentCapture(np.full(30000, 0.8), 20000.0),
    ],
    ids=["short", "slow", "noise", "between nothing and something"],
)
def test_what_cannot_be_told_is_not_sure(capture: CurrentCapture) -> None:
    """Too short, too slow, too noisy, or a level that may be the clamp's zero: no answer, and a reason."""
    answer = classified(capture)
    assert "" == answer.outcome
    assert answer.why


def test_one_edge_is_not_taken_for_the_rhythm_of_an_engine() -> None:
    """A single pulse is too few."""
    capture = pulses(rise(10.5, 0.9, 5e-3, 4e-3), 1.4, 1.4, CLAMP, np.random.default_rng(1))
    assert "" == classified(capture).outcome


def test_its_answers_are_those_of_the_step() -> None:
    """The outcomes are those of terms.yaml, so an answer can be given to the step as it is."""
    assert set(OUTCOMES) == set(shipped_library().terms.instruments["clamp-scope"].outcomes)
