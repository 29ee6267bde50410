"""The dialogue: what follows from each event, in any order."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings, strategies as st
from sample_asking import asking_library
from sample_library import sample_library

from assistant import resources
from assistant.core.dialogue.runner import Runner, answer as answered, refuse
from assistant.core.dialogue.sayable import REASONS
from assistant.core.dialogue.states import State
from assistant.core.dialogue.table import TRANSITIONS
from assistant.core.dialogue.triggers import TRIGGERS, Known
from assistant.core.library.identity import check_vin
from assistant.core.library.vocabulary import UNJUDGED
from assistant.core.values import entries, events
from assistant.core.values.board import Board
from assistant.core.values.codec import from_json, to_json
from assistant.core.values.events import (
    Began,
    Clip,
    Closed,
    GearBack,
    GearLost,
    Heard,
    KeyPressed,
    Listen,
    NoInput,
    NoiseChanged,
    NoMatch,
    Note,
    NoteRecorded,
    Resumed,
    Say,
    Show,
    Speech,
    SpeechFinished,
    StopListening,
    TimerElapsed,
)
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.core.values.thresholds import OLD_RULES
from assistant.errors import UsageProblem
from assistant.keys.pad import KEYS
from assistant.loading.folder import load_folder
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue

WEIGHING, KNOWLEDGE = load_folder(resources.directory("procedures"))
LIBRARY = sample_library()
"""The procedures alone: a scripted way through them is not to be asked again (`test_weighing.py` does that)."""
ASKING_FACTS = asking_library()
"""The same with the likelihoods, and two small procedures that ask for facts of every kind."""
OPEN_STATES = [state for state in State if state not in (State.UNOPENED, State.FINISHED)]


def state_of(talk: Dialogue) -> State:
    """The state, asked for anew: a checker of types does not take it for the one before."""
    return talk.runner.state


def dialogue(procedure: str = "coil-control", *, ready: bool = True) -> Dialogue:
    talk = Dialogue(LIBRARY)
    talk.begin(procedure)
    if ready:
        talk.ready()
    return talk


def to_switched_side() -> Dialogue:
    talk = dialogue()
    talk.hear("lit")
    talk.ready()
    talk.rested()
    return talk


def taken(talk: Dialogue) -> list[tuple[str, str]]:
    return [(entry.step, entry.outcome) for entry in talk.entries if isinstance(entry, entries.ResultTaken)]


def shown(talk: Dialogue) -> Board:
    return next(
        action.board
        for actions in reversed(talk.actions)
        for action in reversed(actions)
        if isinstance(action, Show)
    )


def in_state(state: State) -> Dialogue:
    """A dialogue that was led into this state by events alone."""
    talk = Dialogue(LIBRARY)
    if state is State.UNOPENED:
        return talk
    if state is State.CAUTIONING:
        talk.send(Began(0.0, "coil-control"))
        return talk
    if state is State.ACKNOWLEDGING:
        talk.begin("coil-control")
        return talk
    if state is State.CONCLUDING:
        talk.begin("battery-and-cranking")
        talk.ready()
        talk.hear(value="11.2")
        talk.hear(control=Control.AFFIRM)
        return talk
    if state in (State.INQUIRING, State.CONFIRMING):
        talk = Dialogue(ASKING_FACTS, knowledge=KNOWLEDGE)
        talk.begin("intake")
        if state is State.CONFIRMING:
            talk.key("4", "7", "enter")
        return talk
    talk = dialogue()
    if state is State.CRANKING:
        talk.key("enter")
    elif state is State.CHOOSING:
        talk.hear(control=Control.OTHER_TEST)
    elif state is State.RESTING:
        talk.hear("lit")
        talk.ready()
    elif state is State.READING_BACK:
        talk.hear("dark")
    elif state is State.SKIPPING:
        talk = dialogue("driver-supply-and-inputs")
        talk.hear(control=Control.SKIP)
    elif state is State.NOTING:
        talk.send(Heard(talk.now, "voice note", Result(control=Control.VOICE_NOTE), 1.0))
    elif state is State.STANDING_BY:
        talk.hear(control=Control.STAND_BY)
    elif state is State.FINISHED:
        talk.send(Closed(talk.now, "quit"))
    return talk


# --- the table ------------------------------------------------------------------------------------


@pytest.mark.parametrize("state", State)
def test_every_state_can_be_reached_by_events(state: State) -> None:
    """No state of the table is dead."""
    assert state is in_state(state).runner.state


@pytest.mark.parametrize("state", OPEN_STATES)
def test_stop_works_in_every_state(state: State) -> None:
    """Said or keyed, stop cuts speech, says "Stop. Key off." and stands by."""
    for stop in (
        lambda now: Heard(now, "stop", Result(control=Control.STOP), 0.2),
        lambda now: KeyPressed(now, "stop"),
    ):
        talk = in_state(state)
        actions = talk.send(stop(talk.now))
        assert State.STANDING_BY is talk.runner.state
        kinds = [type(action).__name__ for action in actions]
        assert kinds.index("CutSpeech") < kinds.index("Say")
        assert [action.text for action in actions if isinstance(action, Say)] == ["Stop. Key off."]


@pytest.mark.parametrize("state", State)
def test_a_trigger_that_is_not_in_the_table_changes_nothing(state: State) -> None:
    """Walk every pair that is missing from the table: same state, nothing said, at most a remark."""
    for trigger in TRIGGERS:
        if trigger in TRANSITIONS[state]:
            continue
        inner = in_state(state).runner.talk
        inner.now.out = []
        assert not answered(inner, Known(trigger, None))
        refuse(inner, trigger, aloud=False, silent=False)
        assert state is inner.state
        assert {"Note", "Show"} >= {type(action).__name__ for action in inner.now.out}


# --- cautions -------------------------------------------------------------------------------------


def test_the_first_step_waits_for_its_caution_and_for_ready() -> None:
    """A step that cranks is not released until its caution has been spoken to the end and acknowledged."""
    talk = Dialogue(LIBRARY)
    talk.begin("coil-control")
    talk.send(KeyPressed(talk.now, "enter"))  # the cautions before the work
    assert "The engine will turn." in talk.last
    talk.send(KeyPressed(talk.now, "enter"))
    talk.send(KeyPressed(talk.now, "1"))
    assert State.CAUTIONING is state_of(talk)
    talk.listen()
    assert State.ACKNOWLEDGING is state_of(talk)
    assert taken(talk) == []
    talk.key("enter")
    assert "Crank the engine." in talk.last


def test_a_caution_that_was_cut_is_said_again() -> None:
    """A caution counts as given only when its last word was spoken."""
    talk = Dialogue(LIBRARY)
    actions = talk.send(Began(0.0, "coil-control"))
    (said,) = [action for action in actions if isinstance(action, Say)]
    talk.send(SpeechFinished(2.0, said.utterance, cut=True))
    assert sum("instructions first." in text for text in talk.said) == 2
    assert not [entry for entry in talk.entries if isinstance(entry, entries.CautionGiven)]


def test_later_cautions_are_shorter_and_never_skipped_for_cranking() -> None:
    """Before the second cranking step the short form is spoken, without asking for ready again."""
    talk = to_switched_side()
    talk.hear("steady")
    given = [
        e
        for e in talk.entries
        if isinstance(e, entries.CautionGiven) and e.step == "driver-end-while-cranking"
    ]
    short = [("secondary", "short"), ("cranking", "short"), ("switched-side", "short")]
    assert short == [(e.caution, e.form) for e in given]
    assert "Say ready" not in "".join(talk.said[-3:])


def test_a_caution_is_said_in_full_again_after_a_while() -> None:
    """After ten minutes without it, the full form comes back."""
    talk = dialogue()
    talk.wait(DEFAULT_THRESHOLDS.caution_again_s + 1)
    talk.hear("lit")
    assert "Hands, hair, leads" in talk.last


# --- answers --------------------------------------------------------------------------------------


def test_an_answer_is_read_back_inside_the_next_sentence() -> None:
    """The read-back "Feed side: lit." opens what is said next; no yes is needed."""
    talk = dialogue()
    talk.hear("lit")
    assert talk.last.startswith("Feed side: lit.")
    assert taken(talk) == [("feed-while-cranking", "lit")]


def test_a_wrong_place_is_not_taken() -> None:
    """A place that does not fit the step is named, and the question is asked again."""
    talk = dialogue()
    talk.hear("lit", place="switched")
    assert talk.last.startswith("You said switched side. This test is on the feed side.")
    assert taken(talk) == []


def test_the_right_place_may_be_said_with_the_answer() -> None:
    """The words "feed lit" at the feed mean the same as "lit"."""
    talk = dialogue()
    talk.hear("lit", place="feed")
    assert taken(talk) == [("feed-while-cranking", "lit")]


def test_a_verdict_needs_a_yes() -> None:
    """An answer that ends in a verdict is read back with what it would mean, and counts only when affirmed."""
    talk = to_switched_side()
    talk.hear("steady")
    talk.rested()
    talk.hear("dark")
    assert "That would mean: The control wire is open" in talk.last
    assert not [entry for entry in talk.entries if isinstance(entry, entries.VerdictReached)]
    talk.hear(control=Control.AFFIRM)
    assert State.CONCLUDING is talk.runner.state
    (verdict,) = [entry for entry in talk.entries if isinstance(entry, entries.VerdictReached)]
    assert (verdict.verdict, verdict.affirmed) == ("control-wire-open", True)


def test_silence_is_never_a_yes() -> None:
    """A read-back that nobody answers is repeated, then waits quietly; nothing is taken."""
    talk = in_state(State.READING_BACK)
    for _ in range(6):
        talk.send(NoInput(talk.now))
        talk.listen()
    assert State.READING_BACK is talk.runner.state
    assert taken(talk) == []


def test_a_denied_read_back_is_asked_again() -> None:
    """After "negative" the question comes again and nothing was taken."""
    talk = in_state(State.READING_BACK)
    talk.hear(control=Control.NEGATIVE)
    assert talk.last == "Not taken. Lit, dim, or dark?"
    talk.hear("lit")
    assert taken(talk) == [("feed-while-cranking", "lit")]


def test_a_number_is_read_back_with_its_unit_and_kept_as_said() -> None:
    """Units convert for the limits, never in the record."""
    talk = dialogue("battery-and-cranking")
    talk.hear(value="12600", unit="mV")
    assert "12600 millivolts" in talk.last
    talk.hear(control=Control.AFFIRM)
    (result,) = [entry for entry in talk.entries if isinstance(entry, entries.ResultTaken)]
    assert (result.outcome, str(result.value), result.unit) == ("charged", "12600", "mV")


def test_an_implausible_number_is_asked_again() -> None:
    """Outside the plausible range nothing is taken and the range is named."""
    talk = dialogue("battery-and-cranking")
    talk.hear(value="126", unit="V")
    assert talk.last == "126 volts is outside 0 to 18 volts. Measure again."
    assert State.ASKING is talk.runner.state


@pytest.mark.parametrize(
    ("value", "band"), [("8.99", "drops"), ("9.59", "doubtful"), ("9.6", "holds"), ("9.60", "holds")]
)
def test_a_limit_belongs_to_the_band_above_it(value: str, band: str) -> None:
    """9.6 V while cranking is enough, 9.59 V is not."""
    talk = dialogue("battery-and-cranking")
    talk.hear(value="12.5")
    talk.hear(control=Control.AFFIRM)
    talk.ready()
    talk.hear(value=value)
    talk.hear(control=Control.AFFIRM)
    assert ("battery-while-cranking", band) == taken(talk)[-1]


def test_a_doubtful_word_is_read_back_even_if_it_only_leads_on() -> None:
    """Low confidence costs a yes, very low confidence is not understood at all."""
    talk = dialogue()
    limits = DEFAULT_THRESHOLDS
    talk.hear("lit", confidence=(limits.reject_below + limits.ask_below) / 2)
    assert State.READING_BACK is talk.runner.state
    talk = dialogue()
    talk.hear("lit", confidence=0.3)
    assert talk.last == "Say again."
    assert State.ASKING is talk.runner.state


# --- not understood, silence ----------------------------------------------------------------------


def test_not_understood_tapers_from_say_again_to_the_keys() -> None:
    """Outside check: VoiceXML 2.0 section 5.2.2, event counters with count attributes."""
    talk = dialogue()
    said = []
    for _ in range(4):
        talk.send(NoMatch(talk.now, "[unk]", 0.2))
        said.append(talk.last)
    keys = "Use the keys. 1 for lit. 2 for dim. 3 for dark."
    assert ["Say again.", "Say again: Lit, dim, or dark?", keys, keys] == said


def test_the_counters_start_again_with_the_next_step() -> None:
    """Outside check: VoiceXML 2.0 section 5.2.2: counters are reset when the form is entered again."""
    talk = dialogue()
    talk.send(NoMatch(talk.now, "", 0.0))
    talk.send(NoMatch(talk.now, "", 0.0))
    talk.hear("lit")
    talk.ready()
    talk.rested()
    talk.send(NoMatch(talk.now, "", 0.0))
    assert talk.last == "Say again."


def test_silence_is_answered_twice_and_then_borne() -> None:
    """Someone who is connecting a lamp is not nagged."""
    talk = dialogue()
    before = len(talk.said)
    for _ in range(5):
        talk.send(NoInput(talk.now))
    assert len(talk.said) - before == 2


def test_talk_while_standing_by_is_ignored() -> None:
    """Chatter beside a paused session makes it say nothing."""
    talk = in_state(State.STANDING_BY)
    before = list(talk.said)
    talk.send(NoMatch(talk.now, "[unk]", 0.1))
    assert before == talk.said


def test_not_sure_tells_what_to_look_for() -> None:
    """The words "not sure" are an answer everywhere; it does not move on."""
    talk = to_switched_side()
    talk.hear(control=Control.NOT_SURE)
    assert "Look for a sharp blink." in talk.last
    assert talk.runner.position == ("coil-control", "switched-while-cranking")


# --- corrections ----------------------------------------------------------------------------------


def test_a_correction_goes_back_and_leaves_both_in_the_record() -> None:
    """Undo never erases."""
    talk = dialogue()
    talk.hear("lit")
    talk.ready()
    talk.hear(control=Control.CORRECTION)
    assert any(text.startswith("Taken back. Feed side: lit.") for text in talk.said)
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
    assert talk.last == "Nothing to take back. Lit, dim, or dark?"


def test_a_verdict_can_be_taken_back() -> None:
    """Correction after a verdict returns to the step that led to it."""
    talk = in_state(State.CONCLUDING)
    talk.hear(control=Control.CORRECTION)
    assert talk.runner.position == ("battery-and-cranking", "battery-at-rest")
    assert State.CONCLUDING is not talk.runner.state


# --- cranking -------------------------------------------------------------------------------------


def test_cranking_is_counted_and_ended() -> None:
    """After the longest time the end is called, and the time is in the record."""
    talk = dialogue()
    talk.hear(control=Control.CRANKING)
    assert State.CRANKING is talk.runner.state
    talk.wait(DEFAULT_THRESHOLDS.crank_s + 0.1)
    assert talk.last.startswith("Stop cranking.")
    (cranked,) = [entry for entry in talk.entries if isinstance(entry, entries.Cranked)]
    assert (cranked.seconds, cranked.timed) == (8.0, True)


def test_an_answer_while_cranking_ends_it() -> None:
    """The answer is taken and "Stop cranking" is said first."""
    talk = dialogue()
    talk.key("enter")
    talk.hear("lit")
    assert talk.last.startswith("Stop cranking. Feed side: lit.")


def test_the_starter_rests_before_the_next_cranking() -> None:
    """The next cranking step says what to connect, and withholds "crank" until the rest is over."""
    talk = dialogue()
    talk.hear("lit")
    talk.ready()
    assert State.RESTING is talk.runner.state
    assert "Switched side of the coil: probe. Do not crank yet." in talk.last
    assert "Crank the engine" not in talk.last
    talk.rested()
    assert talk.last.startswith("Rest is over. Crank the engine.")


def test_cranking_again_too_early_is_refused() -> None:
    """A second crank on the same step waits for the rest as well."""
    talk = dialogue()
    talk.key("enter")
    talk.wait(9)
    talk.key("enter")
    assert State.RESTING is talk.runner.state
    assert talk.last.startswith("Not yet.")


def test_a_crank_that_nobody_announced_still_costs_the_rest() -> None:
    """An answer without "cranking now" assumes the longest time, marked as not timed."""
    talk = dialogue()
    talk.hear("lit")
    (cranked,) = [entry for entry in talk.entries if isinstance(entry, entries.Cranked)]
    assert (cranked.seconds, cranked.timed) == (8.0, False)


def test_stop_while_cranking_enters_the_time() -> None:
    """Slash while cranking is stop; the seconds so far are in the record."""
    talk = dialogue()
    talk.key("enter")
    talk.now += 3
    talk.key("slash")
    assert talk.last == "Stop. Key off."
    assert [entry.seconds for entry in talk.entries if isinstance(entry, entries.Cranked)] == [
        pytest.approx(3.5)
    ]


# --- keys -----------------------------------------------------------------------------------------


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
    assert talk.last.startswith("Battery positive: 12.5 volts.")
    talk.key("enter")
    (result,) = [entry for entry in talk.entries if isinstance(entry, entries.ResultTaken)]
    assert (result.how, str(result.value), result.confirmed) == ("keypad", "12.5", "affirmed")


def test_a_bare_point_is_not_sure() -> None:
    """The point alone means not sure, on a choice at once and on a number after Enter."""
    talk = dialogue("battery-and-cranking")
    talk.key("point", "enter")
    assert "Touch the posts themselves" in talk.last
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
    assert "1 for clear. 2 for showing." in talk.last
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
    assert talk.last == "This test cannot be skipped. Do it, or stand by."


def test_zero_at_a_read_back_says_it_again_and_keeps_the_reading() -> None:
    """The key that repeats never becomes the first digit of another reading."""
    talk = dialogue("battery-and-cranking")
    talk.key("1", "2", "point", "5", "enter", "0", "enter")
    assert [("battery-at-rest", "charged")] == taken(talk)


def test_an_outcome_that_is_no_answer_here_is_named() -> None:
    """The word "steady" at the feed is heard, not taken for anything else, and the answers are repeated."""
    talk = dialogue()
    talk.hear("steady")
    assert "Steady is no answer here. Lit, dim, or dark?" == talk.last
    assert [] == taken(talk)


def test_what_does_not_fit_is_said() -> None:
    """A key that means nothing now is answered by voice, because eyes are on the lamp."""
    talk = dialogue()
    talk.key("8")
    assert "That does not fit now." == talk.last


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
    assert "Plug the driver module in again." in talk.last
    talk.key("0")
    assert "Plug the driver module in again." in talk.last
    talk.hear(control=Control.STAND_BY)
    talk.hear(control=Control.GO_AHEAD)
    assert "Plug the driver module in again." in talk.last


def test_the_screen_shows_what_is_spoken() -> None:
    """While the starter rests nobody reads "crank"; after the limit nobody reads it either."""
    talk = dialogue()
    talk.hear("lit")
    talk.ready()
    board = shown(talk)
    assert State.RESTING is talk.runner.state
    assert "Do not crank yet." in board.lines
    assert "Crank the engine." not in board.lines
    talk.rested()
    assert "Crank the engine." in shown(talk).lines
    talk.key("enter")
    talk.wait(9)
    assert "Stop cranking." in shown(talk).lines
    assert "Crank the engine." not in shown(talk).lines


def test_enter_after_a_verdict_never_closes_the_session() -> None:
    """A finger that bounces cannot seal a session; closing is a word or a key of its own."""
    talk = dialogue("no-start")
    talk.key("1", "4", "enter")
    talk.key("enter", "enter", "enter")
    assert State.CONCLUDING is state_of(talk)
    talk.key("plus")
    assert State.FINISHED is state_of(talk)


def to_offer() -> Dialogue:
    """No control at the coil, then the driver's procedure, which offers what was measured already."""
    talk = to_switched_side()
    for answer in ("steady", "steady"):
        talk.hear(answer)
        talk.rested()
    talk.hear(value="0", unit="A")
    talk.hear(control=Control.AFFIRM)
    talk.hear("dark")
    talk.hear(control=Control.AFFIRM)
    talk.hear(control=Control.GO_AHEAD)
    talk.hear("lamp-off")
    assert "Already measured. Feed side: lit." in talk.last
    return talk


def test_an_offered_result_is_kept_or_measured_again_and_nothing_else() -> None:
    """Another answer at an offer is not taken: the step was never released."""
    talk = to_offer()
    before = taken(talk)
    talk.hear("dark")
    assert "Affirm to keep it, negative to measure again." == talk.last
    talk.key("1")
    assert before == taken(talk)
    talk.hear(control=Control.NEGATIVE)
    assert any("The engine will turn." in text for text in talk.said[-3:])


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
    talk.key("enter")
    talk.wait(9)
    talk.key("0")
    assert "Crank the engine." not in talk.last
    assert "more seconds before you crank again." in talk.last


def test_standing_by_while_cranking_is_a_stop() -> None:
    """The key comes off first, then the session pauses."""
    talk = dialogue()
    talk.key("enter")
    talk.hear(control=Control.STAND_BY)
    assert talk.last.startswith("Stop cranking. Key off. Standing by.")


def test_a_stop_at_a_cranking_step_costs_the_rest_even_unannounced() -> None:
    """Who shouts stop may be cranking; the next crank waits."""
    talk = dialogue()
    talk.hear(control=Control.STOP)
    assert [False] == [entry.timed for entry in talk.entries if isinstance(entry, entries.Cranked)]
    talk.hear(control=Control.GO_AHEAD)
    talk.ready()
    assert State.RESTING is talk.runner.state


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
    assert "Plug the driver module and the coil in again." in talk.last


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
    assert "Feed side to switched side: over range. That would mean:" in talk.last
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
    assert (8.0, False) == (cranked.seconds, cranked.timed)
    assert talk.last.startswith("Stop cranking. Key off. Session resumed.")


# --- noise and gear -------------------------------------------------------------------------------


def test_hopeless_noise_asks_for_the_keys_at_once_and_only_listens_for_stop() -> None:
    """It says so, names the keys, and takes up the voice again when it is quieter."""
    talk = dialogue()
    actions = talk.send(NoiseChanged(talk.now, -18.0, hopeless=True))
    assert talk.last == "Too loud to hear you. Use the keys. 1 for lit. 2 for dim. 3 for dark."
    assert [GrammarRequest(controls=(Control.STOP,))] == [a.request for a in actions if isinstance(a, Listen)]
    talk.key("1")
    assert taken(talk) == [("feed-while-cranking", "lit")]
    talk.key("enter")
    actions = talk.send(NoiseChanged(talk.now, -50.0, hopeless=False))
    assert any(isinstance(a, Listen) and a.request.controls != (Control.STOP,) for a in actions)


def test_noise_that_begins_while_cranking_is_said_with_the_next_words() -> None:
    """Cranking is when it becomes loud; the notice is owed, not lost."""
    talk = dialogue()
    talk.key("enter")
    talk.send(NoiseChanged(talk.now, -18.0, hopeless=True))
    talk.wait(9)
    assert "Too loud to hear you. Use the keys." in talk.last


def test_a_microphone_lost_while_cranking_is_said_with_the_next_words() -> None:
    """Nobody goes on talking to a deaf machine."""
    talk = dialogue()
    talk.key("enter")
    talk.send(GearLost(talk.now, "microphone", "unplugged"))
    talk.wait(9)
    assert "Stop cranking. No microphone. Use the keys. 1 for lit. 2 for dim. 3 for dark." == talk.last


def test_a_lost_microphone_leaves_the_keys() -> None:
    """Without a microphone nothing is listened for, and the keys go on."""
    talk = dialogue()
    actions = talk.send(GearLost(talk.now, "microphone", "unplugged"))
    assert any(isinstance(action, StopListening) for action in actions)
    talk.key("1")
    assert taken(talk) == [("feed-while-cranking", "lit")]


@pytest.mark.parametrize("order", [("microphone", "speaker"), ("speaker", "microphone")])
def test_both_losses_stay_on_the_board_while_both_last(order: tuple[str, str]) -> None:
    """The later loss does not hide the earlier one, no answer takes them away, and each goes when it is back."""
    talk = dialogue()
    for gear in order:
        talk.send(GearLost(talk.now, gear, f"the {gear}'s server is gone"))
    assert shown(talk).lost == tuple((gear, f"the {gear}'s server is gone") for gear in order)
    talk.key("1")
    talk.key("enter")
    assert [gear for gear, _ in shown(talk).lost] == list(order)
    talk.send(GearBack(talk.now, order[0]))
    assert [gear for gear, _ in shown(talk).lost] == [order[1]]
    talk.send(GearBack(talk.now, order[1]))
    assert shown(talk).lost == ()
    assert shown(talk).message == f"The {order[1]} is back."


def test_a_session_of_before_shows_a_loss_as_it_did() -> None:
    """Under the rules of old records the board has the loss as its message, so that they replay."""
    talk = Dialogue(LIBRARY, replace(DEFAULT_THRESHOLDS, rules=OLD_RULES))
    talk.begin("coil-control")
    talk.send(GearLost(talk.now, "speaker", "unplugged"))
    assert ("No speaker: unplugged", ()) == (shown(talk).message, shown(talk).lost)


def test_without_a_loudspeaker_cautions_are_shown_and_must_be_acknowledged() -> None:
    """A caution that cannot be spoken is never counted as given without a key or a word."""
    talk = dialogue()
    talk.send(GearLost(talk.now, "speaker", "unplugged"))
    talk.key("1")
    assert State.ACKNOWLEDGING is talk.runner.state
    forms = {
        e.form for e in talk.entries if isinstance(e, entries.CautionGiven) and e.step.startswith("switched")
    }
    assert {"full, shown on the screen", "short, shown on the screen"} == forms


def test_without_a_loudspeaker_an_answer_to_not_sure_or_why_is_shown() -> None:
    """What is only spoken reaches nobody when nothing can be spoken."""
    talk = dialogue()
    talk.send(GearLost(talk.now, "speaker", "unplugged"))
    for control in (Control.NOT_SURE, Control.WHY):
        talk.hear(control=control)
        assert talk.last
        assert talk.last == shown(talk).message


# --- pauses, notes, resume ------------------------------------------------------------------------


def test_stand_by_and_go_ahead_return_to_the_step_with_its_caution() -> None:
    """After a pause the cranking caution is spoken again."""
    talk = dialogue()
    talk.hear(control=Control.STAND_BY)
    talk.hear(control=Control.GO_AHEAD)
    assert "The engine will turn. Keep clear." in talk.said[-2]
    assert "Battery negative post: clip the test lamp." in talk.last


def test_a_voice_note_is_kept_and_the_question_comes_again() -> None:
    """The clip is entered at its step; the dialogue goes on where it was."""
    talk = dialogue()
    talk.hear(control=Control.VOICE_NOTE)
    (note,) = [entry for entry in talk.entries if isinstance(entry, entries.VoiceNoteTaken)]
    assert (note.clip, note.step) == ("clips/0001.flac", "feed-while-cranking")
    assert talk.last == "Note kept. Lit, dim, or dark?"


def test_a_note_without_a_microphone_is_refused_and_one_that_loses_it_ends() -> None:
    """Nobody waits for a note that cannot be recorded."""
    talk = dialogue()
    talk.send(GearLost(talk.now, "microphone", "unplugged"))
    talk.key("9")
    assert "No microphone, so no voice note." == talk.last
    assert State.ASKING is talk.runner.state
    talk = in_state(State.NOTING)
    talk.send(GearLost(talk.now, "microphone", "unplugged"))
    assert "The note was not kept." in talk.last
    assert State.ASKING is talk.runner.state


def test_a_resumed_session_goes_on_at_the_same_step_with_its_full_caution() -> None:
    """Replay what was recorded, then resume: same step, caution in full, acknowledged again."""
    talk = to_switched_side()
    again = Dialogue(LIBRARY)
    for event in talk.events:
        again.runner.receive(event)
    again.send(Resumed(talk.now + 100))
    again.listen()
    assert talk.runner.position == again.runner.position
    assert again.last.startswith("Session resumed.")
    again.key("enter")
    assert "Hands, hair, leads clear" in again.last
    assert State.ACKNOWLEDGING is again.runner.state


def test_closing_takes_two_words_outside_a_pause() -> None:
    """One misheard "close session" only stands by."""
    talk = dialogue()
    talk.hear(control=Control.CLOSE)
    assert State.STANDING_BY is state_of(talk)
    talk.hear(control=Control.CLOSE)
    assert State.FINISHED is state_of(talk)


def test_a_verdict_after_a_skipped_test_is_affirmed_before_it_counts() -> None:
    """Skipping the last test reads the verdict out, not affirmed, and waits for a yes."""
    talk = dialogue("battery-and-cranking")
    talk.hear(value="12.5")
    talk.hear(control=Control.AFFIRM)
    talk.ready()
    talk.hear(value="10.1")
    talk.hear(control=Control.AFFIRM)
    talk.key("plus", "1")
    talk.key("plus", "1")
    assert "Affirm, or say correction." in talk.last
    talk.hear(control=Control.AFFIRM)
    reached = [entry.affirmed for entry in talk.entries if isinstance(entry, entries.VerdictReached)]
    assert [False, True] == reached
    assert State.CONCLUDING is talk.runner.state


def test_a_skip_can_be_taken_back() -> None:
    """Correction after a skip returns to the skipped test, and the record says so."""
    talk = dialogue("driver-supply-and-inputs")
    talk.key("plus", "2")
    talk.ready()
    talk.hear(control=Control.CORRECTION)
    assert "security-lamp" == talk.runner.position[1]
    assert [0] == [entry.number for entry in talk.entries if isinstance(entry, entries.ResultUndone)]


def test_an_earlier_result_of_the_same_measurement_is_offered() -> None:
    """What was measured once need not be measured again; it is offered and must be affirmed."""
    talk = to_switched_side()
    talk.hear("steady")
    talk.rested()
    talk.hear("lit")
    talk.rested()
    talk.hear(value="0.1", unit="A")
    talk.hear(control=Control.AFFIRM)
    talk.hear("dark")
    talk.hear(control=Control.AFFIRM)
    talk.hear(control=Control.GO_AHEAD)
    talk.hear("lamp-off")
    assert "Already measured. Feed side: lit. Affirm to keep it" in talk.last
    talk.hear(control=Control.AFFIRM)
    assert "Already measured. Driver end: lit. Affirm to keep it" in talk.last
    talk.hear(control=Control.AFFIRM)
    talk.rested()
    talk.hear("lit")
    talk.hear("lit")
    talk.ready()
    talk.rested()
    talk.hear("present")
    talk.rested()
    talk.hear("present")
    assert "Already measured. Feed cable: 0.1 amps. Affirm to keep it" in talk.last
    talk.hear(control=Control.AFFIRM)
    assert taken(talk)[-1] == ("primary-current", "none")
    assert "Already measured. Unplugged: dark. That would mean: The driver has feed" in talk.last
    talk.hear(control=Control.AFFIRM)
    assert taken(talk)[-1] == ("control-terminal-unplugged", "dark")
    assert State.CONCLUDING is talk.runner.state


def test_an_unknown_procedure_is_named_with_the_known_ones() -> None:
    """A wrong name at the start is the caller's mistake and says what exists."""
    with pytest.raises(UsageProblem, match="coil-control"):
        Runner(LIBRARY, None, DEFAULT_THRESHOLDS).receive(Began(0.0, "coil-controll"))


# --- any events in any order ----------------------------------------------------------------------

_CLIP = Clip("clips/0001.flac", "0" * 64, 1.0)
_CHOICES = [choice for fact in LIBRARY.terms.facts.values() for choice in fact.choices]
_OUTCOMES = sorted(LIBRARY.terms.outcomes) + sorted(REASONS) + _CHOICES + sorted(ASKING_FACTS.procedures)
_RESULTS = (
    st.builds(Result, outcome=st.sampled_from(_OUTCOMES), place=st.sampled_from([None, "feed", "unplugged"]))
    | st.builds(
        Result, value=st.decimals(0, 30, places=2), unit=st.sampled_from([None, "V", "mV", "A", "ohm"])
    )
    | st.builds(Result, control=st.sampled_from(Control))
    | st.builds(
        Result,
        signs=st.text("ABCIO0123456789", min_size=1, max_size=6),
        unit=st.sampled_from([None, "miles"]),
    )
)
_KEYS = st.sampled_from(KEYS)
_EVENTS = st.one_of(
    st.builds(Heard, at=st.just(0.0), words=st.just("x"), result=_RESULTS, confidence=st.floats(0, 1)),
    st.builds(KeyPressed, at=st.just(0.0), key=_KEYS),
    st.builds(KeyPressed, at=st.just(0.0), key=st.just("enter")),
    st.builds(SpeechFinished, at=st.just(0.0), utterance=st.just(-1), cut=st.booleans()),
    st.builds(TimerElapsed, at=st.just(0.0), timer=st.sampled_from(["crank", "rest", "other"])),
    st.builds(NoMatch, at=st.just(0.0), words=st.just("[unk]"), confidence=st.floats(0, 1)),
    st.builds(NoInput, at=st.just(0.0)),
    st.builds(NoiseChanged, at=st.just(0.0), noise_db=st.just(-20.0), hopeless=st.booleans()),
    st.builds(
        GearLost, at=st.just(0.0), gear=st.sampled_from(["microphone", "speaker", "keys"]), why=st.just("x")
    ),
    st.builds(GearBack, at=st.just(0.0), gear=st.sampled_from(["microphone", "speaker", "keys"])),
    st.builds(NoteRecorded, at=st.just(0.0), clip=st.just(_CLIP)),
    st.builds(Resumed, at=st.just(0.0)),
)
_STEPS = st.lists(st.tuples(_EVENTS, st.floats(0, 90)), max_size=60)


@settings(max_examples=250)
@given(
    procedure=st.sampled_from([*sorted(LIBRARY.procedures), "intake", "intake", "primary"]),
    steps=_STEPS,
    weighing=st.booleans(),
)
def test_any_events_in_any_order_keep_the_promises(
    procedure: str, steps: list[tuple[events.Event, float]], weighing: bool
) -> None:
    """No order of events breaks the dialogue, and these hold throughout.

    Nobody is told to crank before the caution of that very step was spoken to its end (or shown and
    acknowledged).
    A verdict is entered only after an affirmed answer, or as not affirmed.
    The same events give the same actions again, and every action survives JSON.
    With and without likelihoods; a measurement is doubted at most once.
    A fact is given only once until it is taken back, a VIN only with a check digit that fits.
    A reading counts as not judged only while the maker's limits are not all known, or contradict each other.
    """
    own = procedure not in LIBRARY.procedures
    library = ASKING_FACTS if own else WEIGHING if weighing else LIBRARY
    weighing = weighing or own
    knowledge = KNOWLEDGE if weighing else None
    held: dict[str, entries.FactGiven] = {}
    runner = Runner(library, knowledge, DEFAULT_THRESHOLDS)
    doubted: set[tuple[str, str]] = set()
    history: list[tuple[events.Event, tuple[events.Action, ...]]] = []
    now, speaking = 0.0, 0
    cautioned_at: tuple[str, str] | None = None
    results: dict[int, str] = {}

    def feed(event: events.Event) -> None:
        nonlocal speaking, cautioned_at
        before = runner.position
        actions = runner.receive(event)
        history.append((event, actions))
        if runner.position != before:
            cautioned_at = None
        for action in actions:
            if isinstance(action, Say):
                speaking = action.utterance
                if "Crank the engine." in action.text and runner.state is not State.STANDING_BY:
                    assert runner.position == cautioned_at, "told to crank before the caution was spoken"
                    assert runner.talk.crank.rested_at <= now, "told to crank while the starter rests"
            if isinstance(action, Note):
                entry = action.entry
                if isinstance(entry, entries.CautionGiven) and entry.caution == "cranking":
                    cautioned_at = (entry.procedure, entry.step)
                if isinstance(entry, entries.FactGiven):
                    assert entry.fact not in held, "asked for twice"
                    held[entry.fact] = entry
                    if entry.fact == "vin" and entry.value:
                        assert entry.value == str(check_vin(entry.value))
                if isinstance(entry, entries.FactUndone):
                    assert held.pop(entry.fact).value == entry.value
                if isinstance(entry, entries.ResultTaken) and entry.outcome == UNJUDGED:
                    limits = [held.get(f"primary-resistance-{end}") for end in ("lowest", "highest")]
                    known = [Decimal(limit.value) for limit in limits if limit is not None and limit.value]
                    assert len(known) < 2 or known[0] > known[1]
                if isinstance(entry, entries.ResultTaken):
                    assert entry.number == len(results) + 1
                    results[entry.number] = entry.confirmed
                if isinstance(entry, entries.ResultUndone):
                    assert entry.number in {0, *results}
                    if entry.how == entries.DOUBTED:
                        assert weighing
                        assert (entry.procedure, entry.step) not in doubted, "asked again twice"
                        doubted.add((entry.procedure, entry.step))
                if isinstance(entry, entries.VerdictReached) and entry.affirmed:
                    said_yes = isinstance(event, KeyPressed) and event.key == "enter"
                    if isinstance(event, Heard):
                        said_yes = event.result.control in (Control.AFFIRM, Control.GO_AHEAD)
                    assert said_yes, "a verdict counted without a yes"
            assert action == from_json(json.loads(json.dumps(to_json(action))))

    feed(Began(0.0, procedure))
    for event, passes in steps:
        now += passes
        if isinstance(event, SpeechFinished):
            event = replace(event, utterance=speaking)  # noqa: PLW2901
        feed(replace(event, at=now))
    again = Runner(library, knowledge, DEFAULT_THRESHOLDS)
    assert [actions for _, actions in history] == [again.receive(event) for event, _ in history]
    if runner.state is not State.FINISHED:
        actions = runner.receive(KeyPressed(now, "stop"))
        assert State.STANDING_BY is runner.state
        assert any(isinstance(a, Say) and a.kind is Speech.STOP for a in actions)
        assert isinstance(actions[-1], Show)
