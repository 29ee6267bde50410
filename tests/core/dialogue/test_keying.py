"""What the keys of the number pad do, and what the screen and the voice say to it."""

from __future__ import annotations

from sample_states import dialogue, in_state, shown, state_of, taken, to_switched_side, use_up
from shipped import shipped_library

from assistant.core.dialogue.states import State
from assistant.core.values import entries
from assistant.core.values.events import KeyPressed, Resumed
from assistant.core.values.result import Control
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue


def test_a_digit_picks_the_answer_in_the_order_spoken() -> None:
    """2 is dim at the feed, also while the prompt is still being spoken."""
    talk = dialogue()
    talk.send(KeyPressed(talk.now, "0"))
    talk.send(KeyPressed(talk.now, "2"))
    assert taken(talk) == [("feed-while-cranking", "dim")]


def test_a_number_is_keyed_and_affirmed_with_enter() -> None:
    """Digits, point, Backspace, Enter; the second Enter affirms the read-back."""
    talk = dialogue("battery-and-cranking")
    talk.key("1", "2", "point", "7", "erase", "5", "enter")
    assert talk.last.startswith("Battery: 12.5 volts.")
    talk.key("enter")
    (result,) = [entry for entry in talk.entries if isinstance(entry, entries.ResultTaken)]
    assert (result.how, str(result.value), result.confirmed) == ("keypad", "12.5", "affirmed")


def test_a_bare_point_is_not_sure() -> None:
    """The point alone means not sure, on a choice at once and on a number after Enter."""
    talk = dialogue("battery-and-cranking")
    talk.key("point", "enter")
    assert "On the posts, not the clamps." in talk.last
    talk = to_switched_side()
    talk.key("point")
    assert "sharp blink" in talk.last


def test_minus_goes_back_plus_skips_star_lists_zero_repeats() -> None:
    """The keys of the pad beside the digits."""
    talk = dialogue("driver-supply-and-inputs")
    prompt = talk.last
    talk.key("0")
    assert prompt == talk.last
    talk.key("star")
    assert "1 for goes out. 2 for stays on." in talk.last
    talk.key("plus", "2")
    (skipped,) = [entry for entry in talk.entries if isinstance(entry, entries.StepSkipped)]
    assert (skipped.step, skipped.reason, skipped.next) == (
        "security-lamp",
        "no tool",
        "step:feed-while-cranking",
    )
    assert talk.runner.position[1] == "feed-while-cranking"


def test_a_step_without_a_way_round_cannot_be_skipped() -> None:
    """The feed test has no answer to assume."""
    talk = dialogue()
    talk.key("plus")
    assert talk.last == "You can't skip this one. Do it, or stand by."


def test_zero_at_a_read_back_says_it_again_and_keeps_the_reading() -> None:
    """The key that repeats never becomes the first digit of another reading."""
    talk = dialogue("battery-and-cranking")
    talk.key("1", "2", "point", "5", "enter", "0", "enter")
    assert [("battery-at-rest", "charged")] == taken(talk)


def test_an_outcome_that_is_no_answer_here_is_named() -> None:
    """The word "steady" at the feed is heard, not taken for anything else, and the answers are repeated."""
    talk = dialogue()
    talk.hear("steady")
    assert "Steady doesn't fit this test. Lit, dim, or dark?" == talk.last
    assert [] == taken(talk)


def test_what_does_not_fit_is_said() -> None:
    """A key that means nothing now is answered by voice, because eyes are on the lamp."""
    talk = dialogue()
    talk.key("8")
    assert talk.last == "I can't take that now. Lit, dim, or dark?"


def test_plugging_in_again_is_said_until_the_step_is_answered() -> None:
    """Say again, stand by and resume repeat what has to be plugged in before the next cranking."""
    talk = dialogue()
    for outcome in ("dark",):
        talk.hear(outcome)
    talk.hear(control=Control.AFFIRM)
    for outcome in ("dark", "lit", "dark", "dark"):
        talk.hear(outcome)
    talk.hear("lit")
    assert "Plug the driver module" not in talk.last
    talk.hear(value="0.6")
    talk.hear(control=Control.AFFIRM)
    assert State.CONCLUDING is talk.runner.state
    talk = to_switched_side()
    talk.hear("dark")
    talk.hear("lit")
    talk.hear("dark")
    assert "Plug the driver module back in." in talk.last
    talk.key("0")
    assert "Plug the driver module back in." in talk.last
    talk.hear(control=Control.STAND_BY)
    talk.hear(control=Control.GO_AHEAD)
    assert "Plug the driver module back in." in talk.last


def test_the_screen_shows_what_is_spoken() -> None:
    """While the starter rests nobody reads "crank"; after the limit nobody reads it either."""
    talk = in_state(State.RESTING)
    board = shown(talk)
    assert State.RESTING is talk.runner.state
    assert "Don't crank yet." in board.lines
    assert "Crank it." not in board.lines
    talk.rested()
    assert "Crank it." in shown(talk).lines
    use_up(talk)
    assert "Stop cranking." in shown(talk).lines
    assert "Crank it." not in shown(talk).lines


def test_enter_after_a_verdict_never_closes_the_session() -> None:
    """A finger that bounces cannot seal a session; closing is a word or a key of its own."""
    talk = dialogue("no-start")
    talk.key("3", "enter")
    talk.key("enter", "enter", "enter")
    assert State.CONCLUDING is state_of(talk)
    talk.key("plus")
    assert State.FINISHED is state_of(talk)


def to_offer() -> Dialogue:
    """Feed and driver's end are measured, then the person asks for the driver's procedure, which offers both."""
    talk = to_switched_side()
    for answer in ("steady", "steady"):
        talk.hear(answer)
        talk.rested()
    talk.hear(control=Control.OTHER_TEST)
    choices = list(talk.runner.talk.library.procedures)
    talk.key(str(choices.index("driver-supply-and-inputs") + 1), "enter")
    talk.ready()
    talk.hear("lamp-off")
    assert "Already measured. Feed side: lit." in talk.last
    return talk


def test_an_offered_result_is_kept_or_measured_again_and_nothing_else() -> None:
    """Another answer at an offer is not taken: the step was never released."""
    talk = to_offer()
    before = taken(talk)
    talk.hear("dark")
    assert "Keep it? Yes or no?" == talk.last
    talk.key("1")
    assert before == taken(talk)
    talk.hear(control=Control.NEGATIVE)
    assert any("hands clear" in text for text in talk.said[-3:])


def test_stop_cranking_is_said_before_an_offer() -> None:
    """Whatever comes next, the one who turns the key hears it first."""
    talk = to_offer()
    talk.hear(control=Control.NEGATIVE)
    talk.rested()
    talk.key("enter")
    assert State.CRANKING is talk.runner.state
    talk.hear("lit")
    assert talk.last.startswith("Stop cranking. Feed side: lit. Already measured.")


def test_a_repeated_step_does_not_say_crank_while_the_starter_rests() -> None:
    """Say again and the choices of a number tell the rest instead."""
    talk = dialogue()
    use_up(talk)
    talk.key("0")
    assert "Crank it." not in talk.last
    assert "more seconds before you crank again." in talk.last


def test_standing_by_while_cranking_is_a_stop() -> None:
    """The key comes off first, then the session pauses."""
    talk = dialogue()
    talk.key("enter")
    talk.hear(control=Control.STAND_BY)
    assert talk.last.startswith("Stop cranking. Key off. Standing by.")


def test_a_stop_at_a_cranking_step_counts_as_a_crank_even_unannounced() -> None:
    """Who shouts stop may be cranking: its seconds are taken from the starter's budget."""
    talk = dialogue()
    talk.hear(control=Control.STOP)
    assert [False] == [entry.timed for entry in talk.entries if isinstance(entry, entries.Cranked)]
    starter = DEFAULT_THRESHOLDS.starter
    assert talk.runner.talk.crank.starter.used(starter, talk.now) > starter.assumed_s - 1


def test_two_corrections_in_a_row_still_plug_in_again() -> None:
    """What was never set up does not count as connected."""
    talk = to_switched_side()
    talk.hear("dark")
    talk.hear("lit")
    assert "Unplug the driver module and the coil." in talk.last
    talk.hear("dark")
    talk.send(KeyPressed(talk.now, "minus"))
    talk.send(KeyPressed(talk.now, "minus"))
    talk.listen()
    assert "Plug the driver module and the coil back in." in talk.last


def test_an_open_circuit_has_an_answer_on_the_ohmmeter() -> None:
    """Over range falls into the highest band, without an invented number."""
    talk = to_switched_side()
    talk.hear("steady")
    talk.rested()
    talk.hear("lit")
    talk.ready()
    talk.rested()
    talk.key("plus", "2")
    talk.hear("over-range")
    assert "Primary: over range. That would mean:" in talk.last
    talk.hear(control=Control.AFFIRM)
    (result,) = [
        e for e in talk.entries if isinstance(e, entries.ResultTaken) and e.step.startswith("resistance")
    ]
    assert ("open", None) == (result.outcome, result.value)


def test_a_session_that_broke_off_while_cranking_invents_no_seconds() -> None:
    """After a resume the cranking is entered as not timed."""
    talk = dialogue()
    talk.key("enter")
    talk.send(Resumed(talk.now + 3600))
    (cranked,) = [entry for entry in talk.entries if isinstance(entry, entries.Cranked)]
    assert (15.0, False) == (cranked.seconds, cranked.timed)
    assert talk.last.startswith("Stop cranking. Key off. Session resumed.")


def test_nines_are_over_range() -> None:
    """Seven nines stand for a meter over its range: that is read back and recorded, and no invented number."""
    library = shipped_library()
    step = next(
        one for one in library.procedures["coil-and-driver"].steps.values() if one.reading and one.heard
    )
    talk = Dialogue(library)
    talk.begin("coil-and-driver")
    talk.runner.talk.work.step = step
    talk.runner.talk.state = State.ASKING
    talk.key(*"9999999", "enter")
    assert State.READING_BACK is talk.runner.state
    assert "over range." in talk.last
    talk.key("enter")
    (last,) = [one for one in talk.entries if isinstance(one, entries.ResultTaken)]
    assert last.value is None
