"""What the page shows is what is on the board."""

from __future__ import annotations

import json
import math

from assistant.board.view import countdown, letters, level, pad, view
from assistant.core.values.board import Board
from assistant.core.values.particulars import Asks, DoneResult, Particulars
from assistant.keys.pad import KEYS
from assistant.screen.parts import Level

BOARD = Board(
    title="Control test",
    step=2,
    headline="FEED SIDE",
    lines=("Crank it.",),
    choices=(("1", "lit"), ("enter enter", "go anyway")),
    keys=(("minus", "take back"), ("point 2 1", "letter A")),
    caution="WARNING",
    message="Say again.",
)


def test_buttons_have_names_labels_and_words() -> None:
    """A button sends names and shows the label of the pad's key, so that both ways of answering look the same."""
    shown = view(BOARD, Particulars(), question=7, drawing=None)
    assert 7 == shown["question"]
    assert {"names": "1", "label": "1", "words": "lit", "twice": False} == shown["choices"][0]
    assert {"names": "enter enter", "label": "Enter twice", "words": "go anyway", "twice": True} == shown[
        "choices"
    ][1]
    assert ["minus", "point 2 1"] == [one["names"] for one in shown["keys"]]
    assert "WARNING" == shown["signal"]
    json.dumps(shown, allow_nan=False)


def test_where_letters_are_asked_for_no_hint_spells_one_on_the_pad() -> None:
    """The page has letters, so the pad's way to make one is left out there."""
    shown = view(BOARD, Particulars(asks=Asks.SIGNS), question=1, drawing=None)
    assert ["minus"] == [one["names"] for one in shown["keys"]]


def test_a_number_comes_with_unit_range_and_results() -> None:
    """The page says what is plausible before anything is keyed."""
    here = Particulars(
        "a", "b", Asks.NUMBER, "V", ("4", "18"), 7, "9 9 enter", (DoneResult(3, "feed side: lit"),), 3
    )
    shown = view(BOARD, here, question=1, drawing=("/drawings/x.svg", "Lamp."))
    assert ("number", "V", ["4", "18"], True) == tuple(
        shown[name] for name in ("asks", "unit", "plausible", "overRange")
    )
    assert [{"number": 3, "words": "feed side: lit"}] == shown["done"]
    assert {"address": "/drawings/x.svg", "words": "Lamp."} == shown["drawing"]


def test_the_page_tells_whether_it_hears() -> None:
    """A microphone that was left out, is lost, or cannot hear in the noise are three different things."""
    hears = {
        (): "yes",
        (("microphone", ""),): "off",
        (("microphone", "unplugged"),): "lost",
    }
    for lost, word in hears.items():
        board = Board(lost=lost, keys_only=bool(lost))
        assert word == view(board, Particulars(), question=1, drawing=None)["hears"]
    assert "loud" == view(Board(keys_only=True), Particulars(), question=1, drawing=None)["hears"]


def test_a_countdown_is_what_is_left_and_never_below_nothing() -> None:
    """The page counts on by its own clock from there."""
    board = Board(countdown=("crank", 25.0))
    assert {"name": "crank", "seconds": 4.5} == countdown(board, 20.5)
    assert {"name": "crank", "seconds": 0.0} == countdown(board, 99.0)
    assert countdown(Board(), 1.0) is None
    assert countdown(Board(countdown=("rest", math.inf)), 1.0) is None


def test_levels_are_shares_of_the_meter_whatever_the_microphone_gives() -> None:
    """Silence, overload and a level that was not measured yet stay inside the meter."""
    assert {"level": 0.5, "noise": None} == level(Level(-30.0))
    assert {"level": 0.0, "noise": 1.0} == level(Level(-math.inf, 3.0))


def test_the_pages_keys_are_keys_of_the_pad_and_none_is_missing() -> None:
    """Everything that the pad can do, a finger can do; stop has a button of its own."""
    on_the_page = {one["names"] for one in (*pad(), *letters())}
    assert set(KEYS) == on_the_page | {"stop"}
