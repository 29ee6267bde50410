"""What was said is compared with what is true."""

from __future__ import annotations

import math

import pytest

from assistant.hearing_bench.starter.counting import StartCounts
from assistant.hearing_bench.starter.measuring import DASH, StarterFigures, text


def test_shares_are_of_what_there_was() -> None:
    """Misses are a share of all starts, within half a second one of those that were heard, and errors have no sign."""
    counts = StartCounts(
        starts=4,
        begun=[(0.2, 0.2), (0.3, math.inf), (0.9, 1.0)],
        fired=1,
        speeds=[(-0.1, 0.02, 0.9), (0.01, 0.02, 0.5)],
    )
    row = counts.row()
    assert row["missed"] == 0.25
    assert row["begin_within_half"] == pytest.approx(2 / 3)
    assert (row["believed"], row["believed_within_half"]) == (0.5, 0.25)
    assert row["runs_missed"] == 1
    assert row["speed_95"] == pytest.approx(0.1)
    assert row["sure_speed_median"] == pytest.approx(0.1)
    assert row["within_2_sigma"] == 0.5
    assert math.isnan(row["manner_right"])


def test_counts_add_up() -> None:
    """The counts of two scenes together are those of both."""
    total = StartCounts(starts=1, begun=[(0.2, 0.2)], pumps=[1, 1, 0])
    total.add(StartCounts(starts=2, begun=[(0.4, 0.4)], alarms=1, pumps=[1, 0, 2]))
    assert (total.starts, total.begun, total.alarms, total.pumps) == (
        3,
        [(0.2, 0.2), (0.4, 0.4)],
        1,
        [2, 1, 2],
    )


def test_the_tables_hold_every_figure() -> None:
    """Places, sounds without a start and the cost are in the text, and the same in the JSON."""
    figures = StarterFigures(
        "a machine", {("speech", 6.0): StartCounts(starts=2, begun=[(0.25, 0.3)])}, core=0.01
    )
    figures.hours["pink"] = (0.5, 3, 2, 1)
    said = text(figures)
    assert "| speech | 6 dB | 2 | 50 % | 0.25 and 0.25 s |" in said
    assert "| pink | 0.50 | 3 | 2 | 1 |" in said
    assert "1.0 % of one core" in said
    assert figures.to_json()["quiet"] == [
        {"sound": "pink", "hours": 0.5, "alarms": 3, "believed_alarms": 2, "sure_alarms": 1}
    ]


def test_where_nothing_was_counted_the_table_has_a_dash() -> None:
    """A delay or a share of nothing is no number, and the table does not print one."""
    said = text(StarterFigures("a machine", {("speech", 6.0): StartCounts(starts=2)}))
    assert "nan" not in said
    assert "| speech | 6 dB | 2 | 100 % |" + f" {DASH} | {DASH} | 0 %" in said
