"""The dialogue that weighs its results: doubts, the word why, and what a verdict leaves open."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from sample_knowledge import knowing
from sample_library import sample_library
from sample_talks import settle

from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.sayable import SAYABLE
from assistant.core.dialogue.states import State
from assistant.core.dialogue.table import TRANSITIONS
from assistant.core.dialogue.triggers import Trigger
from assistant.core.values import entries
from assistant.core.values.codec import from_json, to_json
from assistant.core.values.events import KeyPressed, Say
from assistant.core.values.result import Control
from assistant.core.values.thresholds import Thresholds
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue

if TYPE_CHECKING:
    from assistant.core.reasoning.knowledge import Knowledge

LIBRARY = sample_library()
KNOWLEDGE = knowing(LIBRARY)


def begun(
    *answers: str, knowledge: Knowledge | None = KNOWLEDGE, limits: Thresholds = DEFAULT_THRESHOLDS
) -> Dialogue:
    """A session in which these were answered, whatever it waited for in between; "yes" affirms."""
    talk = Dialogue(LIBRARY, limits, knowledge=knowledge)
    talk.begin("coil-control")
    settle(talk)
    for answer in answers:
        if answer == "yes":
            talk.hear(control=Control.AFFIRM)
        elif answer[0].isdigit():
            talk.hear(value=answer)
        else:
            talk.hear(answer)
        settle(talk)
    return talk


def standing(talk: Dialogue) -> list[tuple[str, str]]:
    """Results that count."""
    kept: dict[int, tuple[str, str]] = {}
    for entry in talk.entries:
        if isinstance(entry, entries.ResultTaken):
            kept[entry.number] = (entry.step, entry.outcome)
        elif isinstance(entry, entries.ResultUndone):
            kept.pop(entry.number, None)
    return list(kept.values())


# Blinking at the coil and not sharper than the feed: the second of these is doubted, or the first.
MISFIT = ("lit", "blinking", "same")


def test_results_that_do_not_fit_are_named_and_the_doubtful_one_is_asked_again() -> None:
    """Both results are spoken, the doubtful one is taken back, and its step comes again with its cautions."""
    talk = begun(*MISFIT)
    said = next(text for text in talk.said if "These don't match." in text)
    assert "Switched side: blinking." in said
    assert "Comparison: same." in said
    assert "Repeat: test lamp, switched side" in said
    assert "High voltage, hands clear" in said
    (undone,) = [entry for entry in talk.entries if isinstance(entry, entries.ResultUndone)]
    assert undone.how == entries.DOUBTED
    assert talk.runner.position == ("coil-control", undone.step)
    assert talk.runner.state is State.ASKING
    (remark,) = [entry for entry in talk.entries if isinstance(entry, entries.Remark)]
    assert remark.kind == "does not fit"
    assert remark.text in said


def test_it_is_asked_again_once_and_then_believed() -> None:
    """Confirmed, it is believed and the other one is asked; when both stand, it goes on: no endless loop."""
    talk = begun(*MISFIT, "same")
    assert talk.runner.position == ("coil-control", "switched-while-cranking")
    talk.hear("blinking")
    settle(talk)
    talk.hear(control=Control.AFFIRM)  # the comparison, which was set aside, is kept
    settle(talk)
    assert talk.runner.position == ("coil-control", "driver-end-while-cranking")
    assert sum("These don't match." in text for text in talk.said) == 2


def test_another_answer_the_second_time_takes_the_other_way() -> None:
    """A slip is put right: the session goes on as if it had not happened."""
    talk = begun(*MISFIT, "sharper")
    assert talk.runner.position == ("coil-control", "current-with-control")
    assert ("same-as-feed", "sharper") in standing(talk)


def test_every_measurement_is_doubted_at_most_once_whatever_is_answered() -> None:
    """Answers that never fit: the session still comes to its end, and nothing is asked a third time."""
    talk = begun()
    for number in range(60):
        if talk.runner.state is State.CONCLUDING:
            break
        if talk.runner.state is State.READING_BACK:
            talk.key("enter")
        elif talk.runner.talk.step.reading is not None:
            talk.hear(value="0.1")
        else:
            talk.key(str(1 + number % 2))
        settle(talk)
    assert talk.runner.state is State.CONCLUDING
    doubted = [
        (entry.procedure, entry.step)
        for entry in talk.entries
        if isinstance(entry, entries.ResultUndone) and entry.how == entries.DOUBTED
    ]
    assert len(doubted) == len(set(doubted))


def test_an_earlier_result_is_doubted_and_what_came_after_it_is_offered_again() -> None:
    """The first answer was hardly heard: it is asked again, and the one after it is kept without measuring."""
    talk = begun("lit", limits=Thresholds(0.5, 0.75))
    talk.hear("blinking", confidence=0.75)
    settle(talk)
    talk.key("2")  # the same as the feed
    settle(talk)
    assert talk.runner.position == ("coil-control", "switched-while-cranking")
    hows = [entry.how for entry in talk.entries if isinstance(entry, entries.ResultUndone)]
    assert hows == [entries.SET_ASIDE, entries.DOUBTED]
    talk.hear("flickering")
    settle(talk)
    assert "Already measured. Comparison: same. Keep it? Yes" in talk.last
    talk.hear(control=Control.AFFIRM)
    settle(talk)
    assert talk.runner.position == ("coil-control", "driver-end-while-cranking")
    assert standing(talk)[-2:] == [("switched-while-cranking", "flickering"), ("same-as-feed", "same")]


def test_an_offer_after_a_doubt_that_is_denied_is_measured_anew() -> None:
    """The words "negative, measure again" forget what was set aside: the step is asked, with its cautions."""
    talk = begun("lit", limits=Thresholds(0.5, 0.75))
    talk.hear("blinking", confidence=0.75)
    settle(talk)
    talk.key("2")
    settle(talk)
    talk.hear("flickering")
    settle(talk)
    talk.hear(control=Control.NEGATIVE)
    settle(talk)
    assert talk.runner.position == ("coil-control", "same-as-feed")
    assert talk.runner.state is State.ASKING
    assert not talk.runner.talk.past.aside


def test_a_result_that_would_end_in_a_verdict_says_that_it_does_not_fit() -> None:
    """Nobody affirms a verdict that rests on a contradiction: the read-back says so instead of what it would mean."""
    talk = begun("lit", "steady", "steady")
    talk.key("plus", "2")  # no current clamp: the resistance instead
    settle(talk)
    talk.hear("over-range")
    assert "That doesn't match the tests before. Yes or no?" in talk.last
    talk.hear(control=Control.AFFIRM)
    settle(talk)
    assert not [entry for entry in talk.entries if isinstance(entry, entries.VerdictReached)]


def test_keys_alone_do_as_well() -> None:
    """Without a voice the contradiction is noticed and asked again in the same way."""
    talk = Dialogue(LIBRARY, knowledge=KNOWLEDGE)
    talk.begin("coil-control")
    for key in ("1", "1", "2"):
        while talk.runner.state is not State.ASKING:
            talk.key("enter")
            talk.rested()
        talk.key(key)
    assert any("These don't match." in text for text in talk.said)
    assert [entry.how for entry in talk.entries if isinstance(entry, entries.ResultUndone)] == [
        entries.DOUBTED
    ]


def test_stop_cranking_comes_before_a_doubt() -> None:
    """Before a crank, the technician hears first that he may stop."""
    talk = begun("lit", "blinking")
    talk.key("enter")
    talk.hear("same")
    said = next(text for text in talk.said if "These don't match." in text)
    assert said.startswith("Stop cranking. These don't match.")


def test_the_same_events_give_the_same_doubts() -> None:
    """Replay: a fresh dialogue with the same table answers every event as before; with none it does not."""
    talk = begun(*MISFIT, "sharper")
    talk.hear(control=Control.WHY)
    again = Runner(LIBRARY, KNOWLEDGE, DEFAULT_THRESHOLDS)
    assert talk.actions == [again.receive(from_json(json.loads(json.dumps(to_json(e))))) for e in talk.events]
    plain = Runner(LIBRARY, None, DEFAULT_THRESHOLDS)
    assert talk.actions != [plain.receive(event) for event in talk.events]


def test_without_a_table_nothing_is_doubted() -> None:
    """An unknown circuit, or no likelihoods: everything goes as the procedure says."""
    talk = begun(*MISFIT, knowledge=None)
    assert talk.runner.position == ("coil-control", "driver-end-while-cranking")
    talk.hear(control=Control.WHY)
    assert talk.last == "I have no model of this circuit. No reasons."
    weak = replace(KNOWLEDGE, circuits={})
    assert begun(*MISFIT, knowledge=weak).runner.position == ("coil-control", "driver-end-while-cranking")


# --- why ------------------------------------------------------------------------------------------


def test_why_speaks_the_two_strongest_reasons_and_what_this_test_tells() -> None:
    """The likeliest fault, two results with what each speaks against; the state and the question stay.

    By hand: of the faults that leave the switched side steady, no inputs have 0.24 of 0.45.
    """
    talk = begun("lit", "steady")
    talk.hear(control=Control.WHY)
    assert talk.last.startswith("Most likely now: no input to the driver.")
    assert talk.last.count("That points away from:") == 2
    assert "Switched side: steady. That points away from:" in talk.last
    assert "This test shows which: " in talk.last
    assert talk.runner.state is State.ASKING
    talk.hear("dark")
    assert "Driver end: dark. That would mean:" in talk.last


def test_why_before_any_result_says_so() -> None:
    """Nothing measured, no reasons: only what is likeliest before any test."""
    talk = begun()
    talk.hear(control=Control.WHY)
    assert talk.last.startswith("Nothing measured yet. Most likely now: no input to the driver.")
    assert "That speaks against" not in talk.last


@pytest.mark.parametrize("key", ["why", "erase"])
def test_why_has_a_key(key: str) -> None:
    """The letter w, and Backspace where no number is being keyed; in a number Backspace takes a digit away."""
    talk = begun("lit")
    talk.key(key)
    assert talk.last.startswith("Most likely now:")
    talk = begun("lit", "steady", "steady")
    talk.key(key)
    assert talk.last.startswith("Most likely now:")
    before = len(talk.said)
    talk.key("8", "erase", "9", "erase", "erase")
    assert [text for text in talk.said[before:] if text.startswith("Most likely")] == [talk.last]


def test_why_can_be_said_wherever_it_is_in_the_table() -> None:
    """Grammar and table agree on the word, and it is allowed nowhere that a caution or a crank would suffer."""
    known = {state for state, row in TRANSITIONS.items() if Trigger.WHY in row}
    assert known == {state for state, controls in SAYABLE.items() if Control.WHY in controls}
    assert not known & {State.CAUTIONING, State.CRANKING, State.NOTING}
    assert all(TRANSITIONS[state][Trigger.WHY] == {state} for state in known)


def test_why_is_in_the_spoken_help() -> None:
    """The word is named when the technician asks for the choices."""
    talk = begun("lit")
    talk.hear(control=Control.CHOICES)
    assert talk.last.endswith("Say why for reasons.")


def test_two_tests_at_one_place_are_told_apart_by_what_differs() -> None:
    """Two results of the feed, cranking and with the key on: each is named with its engine state."""
    talk = begun("dark", "yes", "lit")
    talk.hear(control=Control.WHY)
    if talk.last.count("Feed side") == 2:
        assert "Feed side, cranking: dark." in talk.last
        assert "Feed side, key on: lit." in talk.last
    else:
        assert "Feed side: dark." in talk.last


# --- verdicts -------------------------------------------------------------------------------------


def test_a_verdict_that_names_all_that_remains_adds_nothing() -> None:
    """An open control wire after three clear results: no rival is worth a word."""
    talk = begun("lit", "steady", "dark", "yes")
    assert talk.runner.state is State.CONCLUDING
    assert "Still possible" not in talk.last


def test_a_rival_of_the_verdict_is_spoken_with_its_test() -> None:
    """One word at a low confidence leaves a rival: it is named with its chance and the test that would tell."""
    talk = Dialogue(
        LIBRARY, replace(DEFAULT_THRESHOLDS, misreading=0.2, doubt_from=0.99), knowledge=KNOWLEDGE
    )
    talk.begin("coil-control")
    settle(talk)
    for answer in ("lit", "steady", "dark"):
        talk.hear(answer)
        settle(talk)
    talk.hear(control=Control.AFFIRM)
    assert talk.runner.state is State.CONCLUDING
    assert "Still open: no input to the driver." in talk.last
    assert "To make sure: " in talk.last


def test_stop_works_while_a_reason_is_spoken() -> None:
    """A reason is help like any other: stop cuts it."""
    talk = begun("lit")
    talk.hear(control=Control.WHY)
    actions = talk.send(KeyPressed(talk.now, "stop"))
    assert [action.text for action in actions if isinstance(action, Say)] == ["Stop. Key off."]
    assert talk.runner.state is State.STANDING_BY
