"""A late tap answers no question that came after it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, strategies as st

from assistant.board.questions import OVER_RANGE, Questions, Tap, keys_of
from assistant.core.values.board import Board
from assistant.core.values.particulars import Asks, Particulars
from assistant.keys.pad import KEYS

BOARD = Board(
    title="Control test",
    step=2,
    headline="FEED SIDE",
    choices=(("1", "lit"), ("2", "dark")),
    keys=(("minus", "take back"),),
)
HERE = Particulars("coil-control", "feed")


@pytest.mark.parametrize(
    "change",
    [
        {"typed": "12"},
        {"heard": "feed lit"},
        {"message": "Say again."},
        {"lost": (("microphone", "unplugged"),)},
        {"lines": ("Crank it.",)},
        {"countdown": ("crank", 15.0)},
    ],
)
def test_what_changes_no_meaning_of_a_key_asks_no_new_question(change: dict[str, object]) -> None:
    """Digits that are tapped quickly all count, and a meter that moves refuses no tap."""
    questions = Questions()
    first = questions.ask(BOARD, HERE)
    assert first == questions.ask(replace(BOARD, **change), HERE)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "change",
    [
        {"step": 3},
        {"mode": "reading back"},
        {"choices": (("1", "dim"), ("2", "dark"))},
        {"keys": (("plus", "close"),)},
        {"headline": "SWITCHED SIDE", "mode": "inquiring"},
        {"caution": "DANGER"},
    ],
)
def test_what_changes_a_meaning_asks_a_new_question(change: dict[str, object]) -> None:
    """The same key means something else there, so the number is another one, also on the way back."""
    questions = Questions()
    first = questions.ask(BOARD, HERE)
    second = questions.ask(replace(BOARD, **change), HERE)  # type: ignore[arg-type]
    assert first != second
    assert second < questions.ask(BOARD, HERE)


def test_another_step_with_the_same_words_is_another_question() -> None:
    """Two steps may look alike; the position tells them apart."""
    questions = Questions()
    assert questions.ask(BOARD, HERE) != questions.ask(BOARD, replace(HERE, step="feed-again"))


def test_a_watched_step_counts_its_changes_without_a_new_question() -> None:
    """What is out and back may follow each other faster than a board travels: their keys mean the same all the time."""
    questions = Questions()
    first = questions.ask(BOARD, HERE)
    assert first == questions.ask(replace(BOARD, headline="OUT: ONCE"), HERE)


def test_a_late_tap_presses_nothing_but_stop_always_counts() -> None:
    """Stop works in every state, whatever the tablet shows."""
    assert () == keys_of(Tap("1", 4), 5, BOARD, HERE)
    assert ("1",) == keys_of(Tap("1", 5), 5, BOARD, HERE)
    assert ("stop",) == keys_of(Tap("stop", 4), 5, BOARD, HERE)


@given(names=st.text(max_size=64), question=st.integers(0, 3))
def test_whatever_is_sent_presses_only_keys_of_the_pad(names: str, question: int) -> None:
    """No text from a network reaches the dialogue but names of keys."""
    assert set(keys_of(Tap(names, question), 1, BOARD, HERE)) <= set(KEYS)


def test_enter_twice_presses_once() -> None:
    """Cranking before the rest is over takes a second tap on what is shown after the first."""
    assert ("enter",) == keys_of(Tap("enter enter", 1), 1, BOARD, HERE)


def test_over_range_clears_what_was_typed_and_takes_no_result_back() -> None:
    """The clearing key takes a result back where nothing was typed, so it is pressed only after digits."""
    here = replace(HERE, asks=Asks.NUMBER, over_range="9 9 9 enter")
    assert ("9", "9", "9", "enter") == keys_of(Tap(OVER_RANGE, 1), 1, BOARD, here)
    assert ("minus", "9", "9", "9", "enter") == keys_of(
        Tap(OVER_RANGE, 1), 1, replace(BOARD, typed="4"), here
    )
    assert () == keys_of(Tap(OVER_RANGE, 1), 1, BOARD, HERE)


def test_a_test_is_chosen_by_its_own_number_alone() -> None:
    """Digits that were keyed before do not become part of the number that is tapped."""
    assert ("erase", "0", "4", "enter") == keys_of(Tap("0 4 enter", 1), 1, replace(BOARD, typed="1"), HERE)
