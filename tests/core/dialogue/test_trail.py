"""A correction goes back along the steps that were left."""

from __future__ import annotations

from sample_states import dialogue, in_state

from assistant.core.dialogue.states import State
from assistant.core.values.result import Control


def test_a_correction_goes_back_and_leaves_both_in_the_record() -> None:
    """Undo never erases."""
    talk = dialogue()
    talk.hear("lit")
    talk.ready()
    talk.hear(control=Control.CORRECTION)
    assert any(text.startswith("Undone. Feed side: lit.") for text in talk.said)
    kinds = [type(entry).__name__ for entry in talk.entries]
    assert kinds.index("ResultTaken") < kinds.index("ResultUndone")
    assert talk.runner.position == ("coil-control", "feed-while-cranking")


def test_a_correction_crosses_into_the_procedure_before() -> None:
    """After a hand-over, the step of the earlier procedure comes back."""
    talk = dialogue()
    talk.hear("dark")
    talk.hear(control=Control.AFFIRM)
    assert talk.runner.position[0] == "feed-dead"
    talk.hear(control=Control.CORRECTION)
    assert talk.runner.position == ("coil-control", "feed-while-cranking")


def test_with_nothing_to_take_back_nothing_happens() -> None:
    """A correction before the first result says so and asks on."""
    talk = dialogue()
    talk.hear(control=Control.CORRECTION)
    assert talk.last == "Nothing to undo. Lit, dim, or dark?"


def test_a_verdict_can_be_taken_back() -> None:
    """Correction after a verdict returns to the step that led to it."""
    talk = in_state(State.CONCLUDING)
    talk.hear(control=Control.CORRECTION)
    assert talk.runner.position == ("battery-and-cranking", "battery-at-rest")
    assert State.CONCLUDING is not talk.runner.state
