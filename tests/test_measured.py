"""Figures that were measured on sound, where the dialogue uses them."""

from __future__ import annotations

from assistant.measured import CALIBRATION, DEFAULT_THRESHOLDS


def test_a_dialogue_begins_with_the_limits_that_were_measured() -> None:
    """The two limits of a hearing's confidence come from the calibration, and nowhere else."""
    assert DEFAULT_THRESHOLDS.reject_below == CALIBRATION.reject_below
    assert DEFAULT_THRESHOLDS.ask_below == CALIBRATION.ask_below
