"""The dwells in a capture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings, strategies as some
from ramp_captures import CIRCUIT, MEASURED, Clamp, captured

from assistant.circuit.catalogue import mechanism_named
from assistant.circuit.parameters import Systems
from assistant.circuit.tracing import Trace, trace
from assistant.meter.dwells import CurrentCapture, dwells
from assistant.meter.shapes import classified


@pytest.fixture(scope="module")
def sound() -> Trace:
    """The coil current of a typical car."""
    return trace(CIRCUIT, mechanism_named(CIRCUIT, "none"), MEASURED, Systems.typical())


def test_every_dwell_is_found_and_laid_by_its_rise(sound: Trace) -> None:
    """Their number is that of the engine, their mean has the height of the model's peak, and no edge is blurred."""
    found = dwells(captured(sound, Clamp(), np.random.default_rng(1), seconds=2.0))
    period = float(sound.time[-1] - sound.time[0])
    blinks = np.flatnonzero((sound.current_a[1:] > 3) & (sound.current_a[:-1] <= 3))
    assert abs(found.count - 2.0 / period * len(blinks)) <= 2
    assert found.ampere.max() == pytest.approx(sound.current_a.max(), rel=0.04)
    assert not found.reversed


def test_cranking_in_a_long_capture_is_found(sound: Trace) -> None:
    """A second of cranking within four of silence gives its dwells, at their times."""
    chance = np.random.default_rng(2)
    clamp = Clamp(zero_a=0.0)
    cranking = captured(sound, clamp, chance, seconds=1.0).ampere
    silence = chance.normal(0, clamp.noise_a, (2, 2 * clamp.rate))
    found = dwells(CurrentCapture(np.concatenate([silence[0], cranking, silence[1]]), float(clamp.rate)))
    assert found.count >= 3
    assert np.all((found.begins > 2.0) & (found.begins < 3.0))


def test_a_clamp_the_wrong_way_round_is_put_right(sound: Trace) -> None:
    """The same dwells come of the negative, and it is said."""
    capture = captured(sound, Clamp(), np.random.default_rng(3))
    turned = dwells(CurrentCapture(-capture.ampere, capture.rate))
    assert turned.reversed
    assert dwells(capture).count == turned.count


def test_noise_and_spikes_are_no_dwells() -> None:
    """Neither noise alone nor single spikes of an ignition make a dwell."""
    chance = np.random.default_rng(4)
    values = chance.normal(0, 0.05, 40000)
    assert 0 == dwells(CurrentCapture(values, 20000.0)).count
    values[::4000] += 20
    assert 0 == dwells(CurrentCapture(values, 20000.0)).count


@settings(max_examples=40)
@given(
    some.lists(some.floats(-1e6, 1e6), min_size=0, max_size=60),
    some.integers(1, 400),
    some.sampled_from([1.0, 5000.0, 20000.0, 1e6]),
)
def test_any_capture_is_taken(values: list[float], again: int, rate: float) -> None:
    """Whatever was captured, of any length and rate, dwells and answer come of it and nothing raises."""
    capture = CurrentCapture(np.repeat(np.array(values, float), again), rate)
    answer = classified(capture)
    assert 0 <= answer.probability <= 1 + 1e-9
    assert answer.outcome in ("", *answer.shares)


def test_gaps_are_no_answer(sound: Trace) -> None:
    """A capture with not-a-number is not judged."""
    capture = captured(sound, Clamp(), np.random.default_rng(5))
    values = capture.ampere.copy()
    values[100] = np.nan
    assert "" == classified(replace(capture, ampere=values)).outcome
