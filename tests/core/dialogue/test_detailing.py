"""What a finger needs besides the board."""

from __future__ import annotations

from recorded_walks import library
from sample_states import LIBRARY

from assistant.core.dialogue.states import State
from assistant.core.values.entries import FactGiven, ResultTaken
from assistant.core.values.events import KeyPressed, KeySource, Note
from assistant.core.values.particulars import Asks
from assistant.rehearsal.dialogue import Dialogue


def asking(procedure: str) -> Dialogue:
    """A dialogue whose first question is asked."""
    talk = Dialogue(LIBRARY)
    talk.begin(procedure)
    for _ in range(20):
        if talk.runner.state is State.ASKING:
            return talk
        if talk.runner.state is State.INQUIRING:
            talk.key("plus")
        settle(talk)
    raise AssertionError(talk.runner.state)


def settle(talk: Dialogue) -> None:
    """Let cautions be spoken and acknowledge them, and let the starter rest."""
    for _ in range(5):
        talk.listen()
        talk.ready()
        talk.rested()


def tap(talk: Dialogue, *keys: str) -> None:
    """Press these keys on a tablet."""
    for key in keys:
        talk.send(KeyPressed(talk.now, key, KeySource.TABLET))


def test_a_number_is_asked_for_with_its_unit_and_plausible_range() -> None:
    """The limits are those of the step's own reading, so that the page cannot contradict the dialogue."""
    talk = asking("feed-weak")
    tap(talk, "1")
    for _ in range(20):
        if talk.runner.state is State.ASKING and talk.runner.step.reading is not None:
            break
        talk.key("plus" if talk.runner.state is State.INQUIRING else "enter")
        settle(talk)
    reading = talk.runner.step.reading
    assert reading is not None
    found = talk.runner.particulars()
    assert (Asks.NUMBER, reading.unit) == (found.asks, found.unit)
    assert (f"{reading.plausible[0]:f}", f"{reading.plausible[1]:f}") == found.plausible
    assert talk.runner.position == (found.procedure, found.step)


def test_results_that_count_are_listed_newest_first_without_those_taken_back() -> None:
    """A correction takes a result off the list; the record keeps it."""
    talk = asking("coil-control")
    tap(talk, "1")
    assert 1 == talk.runner.particulars().results
    (done,) = talk.runner.particulars().done
    assert 1 == done.number
    assert "lit" in done.words
    settle(talk)
    assert State.ASKING is talk.runner.state
    tap(talk, "minus")
    assert () == talk.runner.particulars().done


def test_a_tapped_answer_is_recorded_as_by_tablet() -> None:
    """The record tells a finger on the board from a key of the pad."""
    talk = asking("coil-control")
    tap(talk, "1")
    taken = [
        action.entry
        for actions in talk.actions
        for action in actions
        if isinstance(action, Note) and isinstance(action.entry, ResultTaken)
    ]
    assert ["tablet"] == [entry.how for entry in taken]


def test_letters_that_are_tapped_one_after_the_other_are_one_fact_by_tablet() -> None:
    """Spelled signs make one group whatever they were keyed on, and "take back" undoes them together."""
    talk = Dialogue(library()[0])
    talk.begin("safe-start")
    for _ in range(60):
        if talk.runner.particulars().asks is Asks.SIGNS:
            break
        talk.key("1" if talk.runner.state is State.ASKING else "plus")
        settle(talk)
    tap(talk, "4", "7", "enter")
    tap(talk, "enter")
    given = [
        action.entry
        for actions in talk.actions
        for action in actions
        if isinstance(action, Note) and isinstance(action.entry, FactGiven) and action.entry.value
    ]
    assert [("47", "tablet", "47")] == [(entry.value, entry.how, entry.words) for entry in given]
