"""Counts, intervals and reliability against examples worked out by hand or published."""

from __future__ import annotations

import math

import pytest

from assistant.core.values.result import Result
from assistant.hearing_bench.scoring import FalseAccepts, Hearing, confidences, reliability, score, wilson

LIT, DIM = Result(outcome="lit"), Result(outcome="dim")


def heard(truth: Result | None, result: Result | None, confidence: float) -> Hearing:
    return Hearing(truth, result, result is not None and confidence >= 0.5, confidence, 0.1, 2.0)


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_wilson_interval_as_published(count: int, of: int, low: float, high: float) -> None:
    """Outside check: the score intervals of Newcombe, Statistics in Medicine 17 (1998) 857, table I [from memory]."""
    found = wilson(count, of)
    assert found.share == count / of
    assert round(found.low, 4) == low
    assert round(found.high, 4) == high


def test_an_interval_of_nothing_is_no_number_and_a_wrong_count_is_refused() -> None:
    """An empty sample has no share; more than there are is a mistake of the caller."""
    assert math.isnan(wilson(0, 0).low)
    with pytest.raises(ValueError, match="3 of 2 is not a share"):
        wilson(3, 2)


def test_right_wrong_and_rejected_add_up() -> None:
    """Only an accepted result with the meaning that was said is right; what is accepted otherwise is wrong."""
    counted = score(
        [
            heard(LIT, LIT, 0.95),
            heard(LIT, LIT, 0.60),
            heard(LIT, LIT, 0.40),  # understood, but not sure enough
            heard(LIT, DIM, 0.92),
            heard(LIT, DIM, 0.55),
            heard(LIT, None, 0.99),  # no phrase
            heard(None, LIT, 0.97),  # nothing of the grammar was said
            heard(None, None, 0.10),
        ],
        ask_below=0.9,
    )
    assert (counted.n, counted.right, counted.wrong, counted.rejected) == (8, 2, 3, 3)
    assert (counted.sure_right, counted.sure_wrong) == (1, 2)


def test_reliability_of_a_worked_example() -> None:
    """Worked by hand: 0.95 right, 0.85 right, 0.85 wrong, 0.25 wrong.

    The step from 0.8 has mean confidence 0.85 and half of it right, so the calibration error is
    (1 x 0.05 + 2 x 0.35 + 1 x 0.25) / 4 = 0.25, and the Brier score
    (0.0025 + 0.0225 + 0.7225 + 0.0625) / 4 = 0.2025.
    """
    found = reliability([(0.95, True), (0.85, True), (0.85, False), (0.25, False)])
    assert found.count == 4
    assert [b.count for b in found.bins] == [0, 0, 1, 0, 0, 0, 0, 0, 2, 1]
    assert found.bins[8].confidence == pytest.approx(0.85)
    assert found.bins[8].right == 0.5
    assert found.calibration_error == pytest.approx(0.25)
    assert found.brier == pytest.approx(0.2025)


@pytest.mark.parametrize(("confidence", "number"), [(0.0, 0), (0.1, 1), (0.3, 3), (0.999, 9), (1.0, 9)])
def test_each_confidence_has_its_step(confidence: float, number: int) -> None:
    """A step begins at its lower end; 1 belongs to the last."""
    assert reliability([(confidence, True)]).bins[number].count == 1


def test_confidence_counts_for_every_phrase_also_a_rejected_one() -> None:
    """A text that is not a phrase has no confidence to judge; speech outside the grammar that became a phrase is
    wrong.
    """
    found = confidences([heard(LIT, LIT, 0.3), heard(None, LIT, 0.8), heard(LIT, None, 0.9)])
    assert [(0.3, True), (0.8, False)] == found
    assert math.isnan(reliability([]).brier)


def test_false_accepts_are_stated_by_the_hour() -> None:
    """Three accepted in an hour and a half are two an hour; one of them was sure."""
    stream = FalseAccepts(hours=1.5)
    for words, confidence, accepted in (
        ("lit", 0.6, True),
        ("dim", 0.9, True),
        ("out", 0.7, True),
        ("", 0.2, False),
    ):
        stream.count(words, confidence, 0.9, accepted=accepted)
    assert stream.utterances == 4
    assert stream.an_hour(stream.accepted) == 2.0
    assert stream.sure == 1
    assert stream.examples == [("lit", 0.6), ("dim", 0.9), ("out", 0.7)]
