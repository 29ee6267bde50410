"""Pieces of a drop add up to the whole, or it is said which to measure again."""

from __future__ import annotations

from decimal import Decimal

import pytest
from sample_library import sample_library
from sample_talks import weak_feed

from assistant.core.dialogue.states import State
from assistant.core.library.procedure import Engine, Measurement
from assistant.core.reasoning.adding_up import Drop, unequal
from assistant.core.values import entries

LIBRARY = sample_library()


def drop(clip: str, probe: str, volts: str, place: int = 0, **other: object) -> Drop:
    parts = {"instrument": "loaded-voltmeter", "engine": Engine.KEY_ON, **other}
    return Drop(Measurement(clip=clip, probe=probe, **parts), Decimal(volts), place)  # type: ignore[arg-type]


WHOLE = drop("feed", "battery-positive", "1.0", 1)
SUPPLY = drop("fuse-load", "battery-positive", "0.2", 2)
WIRE = drop("feed", "fuse-load", "1.9", 3)


def test_a_whole_of_less_than_its_pieces_is_measured_again() -> None:
    """0.2 and 1.9 V cannot be pieces of 1.0 V; a bad contact shows less, so the whole is suspect."""
    (found,) = unequal((WHOLE, SUPPLY, WIRE))
    assert (found.whole, set(found.pieces), found.suspect) == (WHOLE, {SUPPLY, WIRE}, WHOLE)
    assert found.total == Decimal("2.1")


def test_where_the_pieces_give_too_little_the_least_of_them_is_suspect() -> None:
    """A piece that shows nothing was perhaps not touched."""
    (found,) = unequal(
        (drop("feed", "battery-positive", "3"), drop("fuse-load", "battery-positive", "0.0"), WIRE)
    )
    assert found.suspect.measure.clip == "fuse-load"


@pytest.mark.parametrize(
    ("whole", "fits"), [("2.10", True), ("2.30", True), ("2.32", False), ("1.90", True), ("1.89", False)]
)
def test_the_tolerance_is_a_tenth_of_a_volt_and_five_per_cent(whole: str, fits: bool) -> None:
    """Of the larger: 2.32 V allow 0.216 V; 2.1 V of pieces allow 0.205 V."""
    assert (unequal((drop("feed", "battery-positive", whole), SUPPLY, WIRE)) == ()) == fits


def test_only_the_same_load_engine_and_unplugged_parts_make_pieces() -> None:
    """Another instrument, engine or plug, a chain with a gap, or a lamp: nothing is compared."""
    for other in ({"instrument": "voltmeter"}, {"engine": Engine.CRANKING}, {"unplugged": ("module",)}):
        assert unequal((WHOLE, SUPPLY, drop("feed", "fuse-load", "1.9", **other))) == ()
    assert unequal((WHOLE, SUPPLY, drop("feed", "relay-supply", "1.9"))) == ()
    assert unequal((WHOLE, SUPPLY)) == ()


def test_there_may_be_three_pieces_and_the_last_reading_counts() -> None:
    """The chain may be longer than two; a reading that was repeated replaces the first."""
    three = (
        drop("feed", "battery-positive", "2.1"),
        drop("fuse-supply", "battery-positive", "0.1"),
        drop("fuse-load", "fuse-supply", "0.1"),
        WIRE,
    )
    assert unequal(three) == ()
    assert unequal((WHOLE, SUPPLY, WIRE, drop("feed", "battery-positive", "2.1", 4))) == ()


@pytest.mark.parametrize("again", ["1.0", "2.1"])
def test_the_dialogue_asks_the_odd_one_again_once_and_then_goes_on(again: str) -> None:
    """It says both sums, takes the whole back, and comes to the verdict, also where it still does not add up."""
    talk = weak_feed(again=again)
    said = [text for text in talk.said if "The pieces add up to 2.1 volts. The whole was 1.0." in text]
    assert len(said) == 1
    assert "Repeat: " in said[0]
    undone = [entry for entry in talk.entries if isinstance(entry, entries.ResultUndone)]
    assert [entry.step for entry in undone if entry.how == entries.UNEQUAL] == ["whole-drop-usual"]
    assert talk.runner.state is State.CONCLUDING
    (verdict,) = [entry for entry in talk.entries if isinstance(entry, entries.VerdictReached)]
    assert verdict.verdict == "feed-wire-poor"
