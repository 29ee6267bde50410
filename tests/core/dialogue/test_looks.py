"""Looks and questions: the way from the entry to the first crank, and what is not asked twice."""

from __future__ import annotations

from dataclasses import replace

from shipped import shipped_folder

from assistant.core.dialogue.states import State
from assistant.core.values.entries import AnswerKnown, ResultTaken
from assistant.core.values.result import Control
from assistant.core.values.thresholds import Thresholds
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue

LIBRARY, KNOWLEDGE = shipped_folder()


def looked(*outcomes: str, limits: Thresholds = DEFAULT_THRESHOLDS) -> Dialogue:
    """One that began with the first look and heard these answers."""
    talk = Dialogue(LIBRARY, limits, knowledge=KNOWLEDGE)
    talk.begin("first-look")
    for outcome in outcomes:
        answer(talk, outcome)
    return talk


def answer(talk: Dialogue, outcome: str) -> None:
    """Give an answer, with all that comes before it, and say yes to what is read back."""
    talk.ready()
    if talk.runner.state is State.RESTING:
        talk.rested()
    _, name = talk.runner.position
    step = LIBRARY.step(*talk.runner.position)
    if step.measure.engine == "cranking":
        talk.hear(control=Control.CRANKING)
    talk.hear(outcome)
    if talk.runner.state is State.READING_BACK:
        talk.hear(control=Control.AFFIRM)
    assert name in [entry.step for entry in talk.entries if isinstance(entry, ResultTaken)]


GOOD = ("absent", "both", "lamp-off", "absent", "normal", "present")
"""Nothing is seen at the first look."""


def measure_the_battery(talk: Dialogue) -> None:
    """Go to the test of a coil with its driver inside, and report a battery that holds while cranking."""
    talk.hear(control=Control.OTHER_TEST)
    talk.hear("built-in-driver-coil")
    while talk.runner.state is State.INQUIRING:
        talk.hear(control=Control.LEAVE_BLANK)
    talk.ready()
    talk.hear(control=Control.CRANKING)
    talk.hear(value="10.8", unit="V")
    talk.hear(control=Control.AFFIRM)


def known(talk: Dialogue) -> list[tuple[str, str]]:
    """Steps that were not asked, each with the procedure that had seen to it."""
    return [
        (f"{one.procedure}/{one.step}", one.after) for one in talk.entries if isinstance(one, AnswerKnown)
    ]


def test_safe_start_goes_on_with_the_first_look_and_does_not_ask_again_whether_it_is_safe() -> None:
    """Who was asked for each thing that makes the car safe is not asked whether it is safe to crank."""
    talk = Dialogue(LIBRARY, knowledge=KNOWLEDGE)
    talk.begin("no-start")
    answer(talk, "not-yet")
    talk.hear(control=Control.LEAVE_BLANK)
    for outcome in ("done", "dry", "done", "done"):
        answer(talk, outcome)
    assert ("first-look", "what-came-before") == talk.runner.position


def test_the_key_is_turned_on_once_for_looks_that_follow_each_other() -> None:
    """With the key on from the look before, nobody is told again to turn it on; after "say again" he is."""
    talk = looked("absent")
    assert "Key on." in talk.last
    answer(talk, "both")
    assert "security-lamp" == talk.runner.position[1]
    assert "Key on." not in talk.last
    talk.hear(control=Control.SAY_AGAIN)
    assert "Key on." in talk.last


def test_an_answer_to_a_whole_question_is_read_back_in_one_word() -> None:
    """The question was just heard: its place is not said again with the answer."""
    talk = looked("absent")
    assert talk.last.startswith("None. ")


def test_a_look_of_the_first_look_is_not_asked_again_in_a_later_test() -> None:
    """Security light and engine speed were seen: the test of the coil goes on behind them, and the record says why."""
    talk = looked(*GOOD)
    measure_the_battery(talk)
    assert [
        ("built-in-driver-coil/security-lamp", "first-look"),
        ("built-in-driver-coil/engine-speed", "first-look"),
    ] == known(talk)
    assert ("built-in-driver-coil", "supply") == talk.runner.position


def test_what_was_skipped_is_asked_where_it_is_needed() -> None:
    """A look that was left out tells nothing, so it is asked later."""
    talk = looked("absent", "both")
    talk.hear(control=Control.SKIP)
    talk.key("4")
    assert "trouble-codes" == talk.runner.position[1]
    assert not known(talk)


def test_after_a_repair_everything_is_looked_at_anew() -> None:
    """What was seen before a repair says nothing about the car after it."""
    talk = looked(*GOOD[:3])
    talk.hear(control=Control.OTHER_TEST)
    talk.hear("after-repair")
    answer(talk, "good")
    measure_the_battery(talk)
    assert not known(talk)
    assert ("built-in-driver-coil", "security-lamp") == talk.runner.position


def test_a_session_of_earlier_rules_offers_the_look_again() -> None:
    """A record of earlier rules is replayed as it was made: the earlier result was offered, not taken silently."""
    talk = looked(*GOOD[:3], limits=replace(DEFAULT_THRESHOLDS, rules=1))
    measure_the_battery(talk)
    assert not known(talk)
    assert ("built-in-driver-coil", "security-lamp") == talk.runner.position
    assert State.READING_BACK is talk.runner.state


def test_after_a_repair_a_measurement_is_made_anew() -> None:
    """A reading from before the repair is neither taken over nor offered after it; without a repair it is offered."""
    for repaired in (False, True):
        talk = Dialogue(LIBRARY, knowledge=KNOWLEDGE)
        talk.begin("coil-control")
        talk.ready()
        talk.hear(value="11", unit="V")
        talk.hear(control=Control.AFFIRM)
        talk.ready()
        if repaired:
            talk.hear(control=Control.OTHER_TEST)
            talk.hear("after-repair")
            answer(talk, "good")
            talk.ready()
        talk.hear(control=Control.OTHER_TEST)
        talk.hear("driver-supply-and-inputs")
        talk.ready()
        assert ("driver-supply-and-inputs", "battery-while-cranking") == talk.runner.position
        assert ("Already measured." in " ".join(talk.said[-2:])) is not repaired
