"""Names of keys, the labels that people read, and boards of earlier records."""

from __future__ import annotations

import pytest

from assistant.core.values.board import Board
from assistant.core.values.codec import from_json, to_json
from assistant.core.values.events import Show
from assistant.core.values.key_names import label, named

LABELS = {
    "enter": "Enter",
    "enter enter": "Enter twice",
    "minus": "-",
    "plus": "+",
    "star": "*",
    "slash": "/",
    "point": ".",
    "point 2 1": ".21",
    "0 4 enter": "04",
    "7": "7",
}
"""The labels as boards showed them before their keys were names (from records of that time)."""


@pytest.mark.parametrize(("names", "shown"), LABELS.items())
def test_a_name_has_the_label_that_stood_there_before(names: str, shown: str) -> None:
    """The screen shows the same as before, and a recorded label gives the name again."""
    assert shown == label(names)
    assert names == named(shown)
    assert names == named(names)


def test_a_board_that_was_recorded_with_labels_is_read_with_names() -> None:
    """A session of an earlier version replays: its boards equal those of today."""
    today = Board(choices=(("1", "lit"), ("enter enter", "go anyway")), keys=(("minus", "take back"),))
    before = to_json(Show(today))
    before["board"]["choices"] = [["1", "lit"], ["Enter twice", "go anyway"]]
    before["board"]["keys"] = [["-", "take back"]]
    assert Show(today) == from_json(before)
