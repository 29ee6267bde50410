"""What was perceived, in the dialogue: the starter by ear, proposals, and readings on a meter."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import example, given, settings, strategies as st
from sample_states import (
    KNOWLEDGE,
    LIBRARY,
    WEIGHING,
    dialogue,
    in_state,
    shown,
    state_of,
    taken,
    use_up,
)

from assistant.core.dialogue import entering, policy
from assistant.core.dialogue.states import State
from assistant.core.library.procedure import Leads, Reading, Step
from assistant.core.values import entries
from assistant.core.values.answer_kind import AnswerKind
from assistant.core.values.codec import from_json, to_json
from assistant.core.values.events import (
    Action,
    Began,
    Heard,
    KeyPressed,
    Listen,
    Say,
    Speech,
    StartTimer,
    TypedFact,
)
from assistant.core.values.perceived import CrankSound, MeterState, MeterTold, Perceived, StarterHeard
from assistant.core.values.result import Control, Result
from assistant.core.values.thresholds import ONE_WORD
from assistant.core.values.witness import Figure, Witness
from assistant.core.words import instructing
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue

LIMITS = DEFAULT_THRESHOLDS.starter
ALL = tuple(Witness)


def perceiving(procedure: str = "coil-control") -> Dialogue:
    """A session that has ear and meter, its first caution acknowledged."""
    talk = Dialogue(LIBRARY)
    talk.send(Began(talk.now, procedure, witnesses=ALL))
    talk.listen()
    talk.ready()
    return talk


def starter(
    talk: Dialogue, phase: CrankSound, *, after: float = 1.0, ago: float = 0.4, confidence: float = 0.95
) -> tuple[Action, ...]:
    """The ear hears this of the starter, after so many seconds."""
    talk.now += after
    return talk.send(StarterHeard(talk.now, phase, ago, confidence))


def begins(talk: Dialogue, **more: float) -> tuple[Action, ...]:
    """The ear hears the starter begin."""
    return starter(talk, CrankSound.BEGINS, **more)


def ends(talk: Dialogue, **more: float) -> tuple[Action, ...]:
    """The ear hears the starter end."""
    return starter(talk, CrankSound.ENDS, **more)


def reads(talk: Dialogue, value: str | None, unit: str = "V", *, stood: float = 0.5) -> tuple[Action, ...]:
    """A reading stands on the meter; None is over range."""
    result = Result(value=Decimal(value), unit=unit) if value else Result(outcome="over-range")
    talk.now += 1
    figures = (Figure("range", "20 V"), Figure("samples", "8"))
    return talk.send(Perceived(talk.now, Witness.METER, result, 1.0, 0.01, figures, stood))


def sounds(talk: Dialogue, outcome: str, speed: str = "", confidence: float = 0.9) -> tuple[Action, ...]:
    """Something sounds like this."""
    figures = (Figure("speed", speed),) if speed else ()
    talk.now += 0.1
    heard = Perceived(talk.now, Witness.EAR, Result(outcome=outcome), confidence, 12.0, figures)
    return talk.send(heard)


def cranks(talk: Dialogue) -> list[entries.Cranked]:
    """The cranks on record."""
    return [entry for entry in talk.entries if isinstance(entry, entries.Cranked)]


def spoken(actions: tuple[Action, ...]) -> list[str]:
    """What is said."""
    return [action.text for action in actions if isinstance(action, Say)]


# --- the starter ----------------------------------------------------------------------------------


def test_a_starter_that_is_heard_starts_the_timer_from_when_it_began() -> None:
    """The seconds that have passed before the ear was sure count; the record says that it was by ear."""
    talk = perceiving()
    actions = begins(talk, ago=0.4)
    assert State.CRANKING is state_of(talk)
    assert [] == spoken(actions)
    timers = [action for action in actions if isinstance(action, StartTimer)]
    assert pytest.approx(LIMITS.longest_s - 0.4) == timers[0].seconds
    talk.now += 3.6
    talk.hear("lit")
    crank = cranks(talk)[0]
    assert isinstance(crank, entries.CrankHeard)
    assert (6.0, 0.95, entries.CrankKind.STEP) == (crank.seconds, crank.confidence, crank.what)


def test_the_end_that_is_heard_ends_a_crank_that_the_ear_began() -> None:
    """The heard length is on record once, the step is still asked, and the board says the seconds."""
    talk = perceiving()
    began = talk.now + 1.0 - 0.4
    begins(talk)
    ends(talk, after=3.0, ago=0.5)
    assert State.ASKING is state_of(talk)
    assert [round(talk.now - 0.5 - began, 1)] == [crank.seconds for crank in cranks(talk)]
    assert "by ear" in shown(talk).message
    talk.hear("lit")
    assert 1 == len(cranks(talk))
    assert taken(talk)


def test_the_end_that_is_heard_does_not_end_an_announced_crank() -> None:
    """The limit still says "Stop cranking", counted from the earliest begin."""
    talk = perceiving()
    talk.hear(control=Control.CRANKING)
    announced = talk.now
    begins(talk, after=0.2, ago=0.8)
    ends(talk, after=2.0)
    assert State.CRANKING is state_of(talk)
    assert pytest.approx(announced - 0.6 + LIMITS.longest_s) == talk.timers["crank"]
    talk.wait(LIMITS.longest_s)
    assert talk.last.startswith("Stop cranking.")
    assert pytest.approx(LIMITS.longest_s, abs=0.1) == cranks(talk)[0].seconds


def test_an_announcement_after_the_ear_wins() -> None:
    """Said or keyed after the ear has begun to time, it changes nothing but that the ear no longer ends it."""
    for announce in (
        lambda now: Heard(now, "cranking", Result(control=Control.CRANKING), 0.999),
        lambda now: KeyPressed(now, "enter"),
    ):
        talk = perceiving()
        begins(talk)
        due = talk.timers["crank"]
        talk.now += 0.5
        actions = talk.send(announce(talk.now))
        assert [] == spoken(actions)
        assert due == talk.timers["crank"]
        ends(talk)
        assert State.CRANKING is state_of(talk)


def test_the_limit_is_called_for_a_crank_that_only_the_ear_began() -> None:
    """Nobody announced it, and it is stopped after the longest crank all the same."""
    talk = perceiving()
    begins(talk)
    talk.wait(LIMITS.longest_s + 1)
    assert talk.last.startswith("Stop cranking.")


@pytest.mark.parametrize("state", [State.CAUTIONING, State.ACKNOWLEDGING, State.RESTING])
def test_cranking_that_was_not_released_is_stopped(state: State) -> None:
    """Before the cautions were spoken and acknowledged, and while the starter rests: "Stop cranking."."""
    talk = in_state(state)
    actions = begins(talk)
    assert spoken(actions)[0].startswith("Stop cranking.")
    assert state is state_of(talk)
    talk.listen()
    acknowledged = [one for one in talk.entries if isinstance(one, entries.CautionAcknowledged)]
    assert state is State.RESTING or not acknowledged
    ends(talk, after=2.0)
    last = cranks(talk)[-1]
    assert isinstance(last, entries.CrankHeard)
    assert entries.CrankKind.UNASKED is last.what
    assert pytest.approx(last.seconds, abs=4) == 2.0


def test_a_heard_crank_never_stands_for_ready() -> None:
    """Cautions that were cut by "Stop cranking." are spoken anew before the step is released."""
    talk = Dialogue(LIBRARY)
    talk.send(Began(0.0, "coil-control", witnesses=ALL))
    before = talk.last[talk.last.index("Danger:") :]
    begins(talk)
    assert f"Stop cranking. {before}" == talk.last
    assert State.CAUTIONING is state_of(talk)
    talk.listen()
    assert State.ACKNOWLEDGING is state_of(talk)


def test_cranking_with_leads_connected_at_rest_is_stopped() -> None:
    """At a step with an instrument and the key off somebody's hands may be at the leads."""
    talk = perceiving("battery-and-cranking")
    assert State.ASKING is state_of(talk)
    assert ["Stop cranking."] == spoken(begins(talk))
    talk.listen()
    talk.hear(control=Control.SAY_AGAIN)
    assert "How many volts?" in talk.last


@pytest.mark.parametrize("state", [State.STANDING_BY, State.CONCLUDING, State.NOTING, State.CHOOSING])
def test_cranking_elsewhere_is_only_counted(state: State) -> None:
    """It may be the car beside: nothing is said, the board shows it, the budget counts it."""
    talk = in_state(state)
    used = talk.runner.talk.crank.starter.used_s
    assert [] == spoken(begins(talk))
    assert state is state_of(talk)
    assert "I hear cranking." == shown(talk).message
    ends(talk, after=4.0)
    assert talk.runner.talk.crank.starter.used_s > used


@pytest.mark.parametrize("state", [one for one in State if one not in (State.UNOPENED, State.FINISHED)])
def test_a_doubtful_begin_is_only_shown(state: State) -> None:
    """A false alarm costs a word on the board while it lasts: no timer, no speech, no other state, no other grammar."""
    talk = in_state(state)
    for happens, message in ((begins, "Cranking?"), (ends, "")):
        actions = happens(talk, confidence=0.5)
        assert {"Show"} == {type(action).__name__ for action in actions}
        assert state is state_of(talk)
        assert message == shown(talk).message
    assert () == ends(talk, confidence=0.5)


def test_a_crank_that_goes_on_after_the_answer_is_counted_to_its_end() -> None:
    """The helper lets go late: the starter's budget takes the longer of what is known."""
    talk = perceiving()
    talk.hear(control=Control.CRANKING)
    begins(talk, after=0.1)
    talk.now += 1
    talk.hear("lit")
    answered = cranks(talk)[0]
    ends(talk, after=2.0, ago=0.0)
    last = cranks(talk)[-1]
    assert isinstance(last, entries.CrankHeard)
    assert entries.CrankKind.LONGER is last.what
    assert last.seconds > 1.5
    assert answered.seconds + last.seconds <= talk.runner.talk.crank.starter.used_s + 0.1


_EAR = st.tuples(
    st.sampled_from(CrankSound), st.floats(0.1, 12), st.floats(0, 0.5), st.sampled_from([0.5, 0.99])
)


@example(
    heard=[
        (CrankSound.BEGINS, 1.0, 0.0, 0.99),
        (CrankSound.BEGINS, 4.0, 0.0, 0.5),
        (CrankSound.ENDS, 1.0, 0.0, 0.99),
        (CrankSound.BEGINS, 2.0, 0.0, 0.5),
    ],
    announced=False,
)
@given(heard=st.lists(_EAR, max_size=6), announced=st.booleans())
def test_the_ear_never_makes_the_starter_look_cooler(
    heard: list[tuple[CrankSound, float, float, float]], announced: bool
) -> None:
    """With any sounds before an answer the budget has at least as many seconds used as without the ear.

    So no crank is taken for absent because it was not heard, and none for shorter.
    """
    without, having = perceiving(), perceiving()
    for talk in (without, having):
        if announced:
            talk.hear(control=Control.CRANKING)
    for phase, after, ago, confidence in heard:
        for talk in (without, having):
            talk.wait(after)
        having.send(StarterHeard(having.now, phase, ago, confidence))
        having.listen()
    now = max(without.now, having.now)
    for talk in (without, having):
        talk.wait(now - talk.now)
    now = max(without.now, having.now)
    for talk in (without, having):
        talk.now = now
        talk.send(Heard(now, "lit", Result(outcome="lit"), 0.999))
    used = [talk.runner.talk.crank.starter.used(LIMITS, now) for talk in (without, having)]
    assert (
        used[0] <= used[1] + 0.3
    )  # lengths are rounded, and an earlier order ends a crank up to 0.5 s earlier


def test_a_running_engine_is_proposed_where_it_is_meant_to_start() -> None:
    """It is read back with a question and needs a yes; a no goes on timing the crank."""
    talk = perceiving("after-repair")
    talk.runner.talk.work.step = LIBRARY.step("after-repair", "restart")
    talk.runner.talk.state = State.ASKING
    begins(talk)
    actions = starter(talk, CrankSound.RUNS)
    assert spoken(actions)[0].startswith("Sounds like it runs.")
    assert State.READING_BACK is state_of(talk)
    due = talk.timers["crank"]
    talk.listen()
    talk.hear(control=Control.NEGATIVE)
    assert State.CRANKING is state_of(talk)
    assert due == talk.timers["crank"]
    starter(talk, CrankSound.RUNS)
    talk.listen()
    talk.hear(control=Control.AFFIRM)
    assert ("restart", "runs") == taken(talk)[-1]
    assert "crank" not in talk.timers
    result = next(one for one in talk.entries if isinstance(one, entries.ResultTaken))
    assert ("ear", "affirmed") == (result.how, result.confirmed)


def test_the_limit_is_called_behind_a_proposal_too() -> None:
    """A wrong "runs" does not stop the clock of a starter that still turns."""
    talk = perceiving("after-repair")
    talk.runner.talk.work.step = LIBRARY.step("after-repair", "restart")
    talk.runner.talk.state = State.ASKING
    talk.hear(control=Control.CRANKING)
    starter(talk, CrankSound.RUNS)
    talk.listen()
    talk.wait(LIMITS.longest_s + 1)
    assert talk.last.startswith("Still cranking? Let go. Sounds like it runs.")
    assert State.READING_BACK is state_of(talk)
    assert 1 == len(cranks(talk))


def test_how_it_cranks_is_proposed_with_its_speed_and_never_taken() -> None:
    """Read back with a question; the record has source, confidence, spread and speed once it is affirmed."""
    talk = perceiving("first-look")
    talk.runner.talk.work.step = LIBRARY.step("first-look", "crank-and-listen")
    talk.runner.talk.state = State.ASKING
    begins(talk)
    ends(talk, after=3)
    text = spoken(sounds(talk, "slow", "100"))[0]
    assert text.startswith("Sounds slow, about 100 revolutions a minute.")
    assert text.endswith("Yes or no?")
    assert [] == taken(talk)
    talk.listen()
    talk.hear(control=Control.AFFIRM)
    assert [("crank-and-listen", "slow")] == taken(talk)
    seen = next(one for one in talk.entries if isinstance(one, entries.ResultPerceived))
    assert (Witness.EAR, 0.9, 12.0, (Figure("speed", "100"),)) == (
        seen.source,
        seen.confidence,
        seen.spread,
        seen.figures,
    )


def test_a_weak_proposal_is_only_shown() -> None:
    """What the ear is not sure of asks nobody anything."""
    talk = perceiving("first-look")
    talk.runner.talk.work.step = LIBRARY.step("first-look", "crank-and-listen")
    talk.runner.talk.state = State.ASKING
    assert [] == spoken(sounds(talk, "slow", "100", confidence=0.5))
    assert "Sounds slow, about 100 rpm, by ear" == shown(talk).message


# --- the meter ------------------------------------------------------------------------------------


def at_the_battery() -> Dialogue:
    """A session with a meter, at the first reading of the battery."""
    talk = perceiving("battery-and-cranking")
    assert State.ASKING is state_of(talk)
    return talk


@pytest.mark.parametrize(
    "take",
    [
        lambda now: Heard(now, "take it", Result(control=Control.TAKE_IT), 0.999),
        lambda now: KeyPressed(now, "enter"),
    ],
)
def test_one_word_or_enter_takes_a_reading_and_confirms_it(take: object) -> None:
    """It stands on the board, is read back with what comes next, and is on record with what came with it.

    "Correction" takes it back.
    """
    talk = at_the_battery()
    reads(talk, "12.61")
    assert "12.61 V, meter" == shown(talk).lines[0]
    assert ("enter", "take it") in shown(talk).choices
    assert [] == taken(talk)
    talk.now += 1
    talk.send(take(talk.now))  # type: ignore[operator]
    assert talk.last.startswith("12.61. ")
    assert 1 == len(taken(talk))
    talk.listen()
    talk.ready()
    talk.hear(control=Control.CORRECTION)
    assert any(isinstance(one, entries.ResultUndone) for one in talk.entries)
    assert ("battery-and-cranking", "battery-at-rest") == talk.runner.position
    result = next(one for one in talk.entries if isinstance(one, entries.ResultTaken))
    assert ("meter", Decimal("12.61"), "V", "read back") == (
        result.how,
        result.value,
        result.unit,
        result.confirmed,
    )
    seen = next(one for one in talk.entries if isinstance(one, entries.ResultPerceived))
    assert (result.number, Witness.METER, 0.01) == (seen.number, seen.source, seen.spread)
    assert (Figure("range", "20 V"), Figure("samples", "8")) == seen.figures


def test_what_may_be_leads_in_the_air_or_the_reading_before_needs_a_yes() -> None:
    """So do over range, a word that was heard badly, what leads to a verdict, and a session of earlier rules."""
    sure = DEFAULT_THRESHOLDS.of(AnswerKind.AFFIRM)
    badly = sure.sure_from - 0.01
    old = replace(DEFAULT_THRESHOLDS, rules=ONE_WORD - 1)
    for value, confidence, before, thresholds in (
        ("0.02", 0.999, None, DEFAULT_THRESHOLDS),
        ("12.61", 0.999, "12.60", DEFAULT_THRESHOLDS),
        ("11.20", 0.999, None, DEFAULT_THRESHOLDS),
        ("12.61", badly, None, DEFAULT_THRESHOLDS),
        ("12.61", 0.999, None, old),
    ):
        talk = Dialogue(LIBRARY, thresholds)
        talk.send(Began(talk.now, "battery-and-cranking", witnesses=ALL))
        talk.listen()
        talk.ready()
        if before is not None:
            reads(talk, before)
            talk.runner.talk.gear.meter.forget()
        reads(talk, value)
        talk.now += 1
        talk.send(Heard(talk.now, "take it", Result(control=Control.TAKE_IT), confidence))
        assert State.READING_BACK is state_of(talk), (value, confidence, before)
        assert [] == taken(talk)
        talk.listen()
        talk.hear(control=Control.AFFIRM)
        assert 1 == len(taken(talk))


def test_a_reading_that_does_not_fit_the_results_before_needs_a_yes() -> None:
    """Nearly the battery's voltage at a control wire that just blinked a light and has a shorted winding on it."""
    talk = Dialogue(WEIGHING, knowledge=KNOWLEDGE)
    talk.send(Began(talk.now, "coil-and-driver", witnesses=ALL))
    talk.listen()
    talk.ready()
    talk.hear("blinking")
    for value, unit, state in (("0.08", "ohm", State.ASKING), ("14.9", "V", State.READING_BACK)):
        while state_of(talk) is State.INQUIRING:
            talk.key("plus")
        reads(talk, value, unit)
        talk.hear(control=Control.TAKE_IT)
        talk.ready()
        assert state is state_of(talk)
    assert "That doesn't match the tests before." in talk.last


_SHOWN = st.tuples(st.integers(0, 5), st.floats(0, 1))
"""A value that stands on the meter: the number of a band, and where in it."""

_STEPS = sorted(
    (procedure.name, step.name)
    for procedure in WEIGHING.procedures.values()
    for step in procedure.steps.values()
    if step.reading is not None
)


@given(
    where=st.sampled_from(_STEPS),
    shown_now=_SHOWN,
    before=st.none() | _SHOWN,
    stood=st.sampled_from([0.5, 2.1]),
    word=st.sampled_from(["", "take it", "take it", "enter"]),
    confidence=st.sampled_from([0.85, 0.999]),
)
@settings(max_examples=200)
def test_no_reading_counts_without_a_word_and_none_that_may_deceive_without_a_yes(
    where: tuple[str, str],
    shown_now: tuple[int, float],
    before: tuple[int, float] | None,
    stood: float,
    word: str,
    confidence: float,
) -> None:
    """At any step: nothing that nobody took counts; what was taken with one word leads to a step, is not near zero,
    not the reading of the step before, and does not contradict the results so far.

    So neither a lifted probe nor leads that were not moved condemn anything, and no part is named, without a yes.
    """
    talk = Dialogue(WEIGHING, knowledge=KNOWLEDGE)
    talk.send(Began(talk.now, where[0], witnesses=ALL))
    inner = talk.runner.talk
    inner.work.step = step = WEIGHING.step(*where)
    inner.facts.asked = None
    inner.state = State.ASKING
    assert step.reading is not None
    value = in_a_band(step.reading, shown_now)
    was = None if before is None else in_a_band(step.reading, before)
    talk.listen()
    inner.state = State.ASKING
    if was is not None:
        reads(talk, str(was), step.reading.unit)
        inner.gear.meter.forget()
    reads(talk, str(value), step.reading.unit, stood=stood)
    assert [] == taken(talk)
    if word == "take it" and inner.state is State.ASKING:
        talk.send(Heard(talk.now, word, Result(control=Control.TAKE_IT), confidence))
    elif word and inner.state is State.ASKING:
        talk.key(word)
    for result in (one for one in talk.entries if isinstance(one, entries.ResultTaken)):
        assert word
        assert "enter" == word or confidence >= DEFAULT_THRESHOLDS.of(AnswerKind.AFFIRM).sure_from
        assert result.next in step_targets(step)
        assert abs(value) >= policy.OPEN_LEADS.get(step.reading.unit, 0)
        assert was is None or abs(value - was) > policy.SAME_READING * max(abs(value), abs(was))
        assert not [one for one in talk.entries if isinstance(one, entries.VerdictReached)]


def in_a_band(reading: Reading, place: tuple[int, float]) -> Decimal:
    """A value in one of the bands of a reading, so far from its lower border."""
    low, high = reading.plausible
    band = reading.bands[place[0] % len(reading.bands)]
    low = band.low if isinstance(band.low, Decimal) else low
    high = band.high if isinstance(band.high, Decimal) else high
    return (low + (high - low) * Decimal(repr(place[1]))).quantize(Decimal("0.001"))


def step_targets(step: Step) -> set[str]:
    """The targets of a step's answers that are steps."""
    return {str(answer.target) for answer in step.choices() if answer.target.leads is Leads.STEP}


def test_a_reading_that_comes_does_not_disturb_hearing_or_speech() -> None:
    """Nothing is said and nothing is listened for anew: half a word that is being said is not lost."""
    talk = at_the_battery()
    assert not [action for action in reads(talk, "12.61") if isinstance(action, Say | Listen)]


def test_take_it_without_a_reading_says_so() -> None:
    """Also after the reading left, and with the switch on the wrong function, which is said once a change."""
    talk = at_the_battery()
    talk.hear(control=Control.TAKE_IT)
    assert "Nothing steady on the meter." == talk.last
    reads(talk, "12.61")
    talk.send(MeterTold(talk.now, MeterState.UNSTEADY))
    talk.hear(control=Control.TAKE_IT)
    assert "Nothing steady on the meter." == talk.last
    why = "The meter is on ohms. This test needs volts."
    assert [why] == spoken(talk.send(MeterTold(talk.now, MeterState.WRONG_FUNCTION, why)))
    talk.listen()
    assert [] == spoken(talk.send(MeterTold(talk.now, MeterState.WRONG_FUNCTION, why)))
    talk.hear(control=Control.TAKE_IT)
    assert why == talk.last
    assert [] == taken(talk)


def test_a_silent_meter_is_said_and_the_voice_goes_on() -> None:
    """It is missing gear like other gear, until it is back; the number can be said all the while."""
    talk = at_the_battery()
    actions = talk.send(MeterTold(talk.now, MeterState.SILENT, "No value for 5 s."))
    assert ["The meter is silent. Say the reading."] == spoken(actions)
    assert ("meter", "No value for 5 s.") in shown(talk).lost
    talk.listen()
    assert ["The meter is back."] == spoken(talk.send(MeterTold(talk.now, MeterState.GOOD)))
    assert () == shown(talk).lost
    talk.listen()
    talk.hear(value="12.6", unit="V")
    assert "12.6 volts" in talk.last


def test_a_reading_held_still_is_read_back_only_if_it_leads_to_a_step() -> None:
    """12.6 V leads to another step; 11.2 V leads to a verdict and waits to be taken."""
    talk = at_the_battery()
    reads(talk, "12.61")
    assert State.ASKING is state_of(talk)
    reads(talk, "12.61", stood=2.1)
    assert State.READING_BACK is state_of(talk)
    assert [] == taken(talk)
    talk = at_the_battery()
    reads(talk, "11.20", stood=2.1)
    assert State.ASKING is state_of(talk)


def while_cranking(*, ear: bool = True) -> Dialogue:
    """A session whose helper cranks for the lowest voltage, after 12.6 V at rest that the meter held."""
    talk = at_the_battery()
    reads(talk, "12.61", stood=2.1)
    talk.listen()
    talk.hear(control=Control.AFFIRM)
    talk.ready()
    talk.listen()
    if ear:
        begins(talk)
    else:
        talk.hear(control=Control.CRANKING)
    assert State.CRANKING is state_of(talk)
    return talk


def test_a_reading_that_stood_within_the_crank_is_read_back_without_take_it() -> None:
    """It orders to stop first, needs a yes, and the record says that it was held."""
    talk = while_cranking()
    talk.now += 3
    reads(talk, "10.4", stood=2.1)
    assert "Stop cranking. 10.4?" == talk.last
    assert State.READING_BACK is state_of(talk)
    assert 1 == len(taken(talk))
    talk.listen()
    talk.hear(control=Control.AFFIRM)
    assert 2 == len(taken(talk))
    seen = [entry for entry in talk.entries if isinstance(entry, entries.ResultPerceived)]
    assert "held" == seen[-1].taken


def test_what_is_not_surely_of_the_crank_waits_to_be_taken() -> None:
    """The first surge, the voltage of before, leads in the air, a crank that nobody hears or that is over."""
    for volts, stood in (("10.4", 2.9), ("12.60", 2.1), ("0.02", 2.1)):
        talk = while_cranking()
        talk.now += 2
        reads(talk, volts, stood=stood)
        assert State.CRANKING is state_of(talk), volts
        assert 1 == len(taken(talk))
    talk = while_cranking(ear=False)
    talk.now += 3
    reads(talk, "10.4", stood=2.1)
    assert State.CRANKING is state_of(talk)
    talk = while_cranking()
    ends(talk, after=3)
    reads(talk, "10.4", stood=2.1)
    assert State.ASKING is state_of(talk)


def test_a_held_reading_is_not_one_of_the_next_step() -> None:
    """It still stands when the next step is asked, and waits there to be taken."""
    talk = while_cranking()
    assert talk.runner.talk.gear.meter.before is not None


def test_a_unit_that_is_not_the_steps_own_is_read_back() -> None:
    """450 mV at a step in volts is not read back as "450?", nor as "450."."""
    talk = at_the_battery()
    reads(talk, "12610", "mV", stood=2.1)
    assert "millivolts?" in talk.last
    assert [] == taken(talk)
    talk = at_the_battery()
    reads(talk, "12610", "mV")
    talk.key("enter")
    assert "millivolts. " in talk.last


def test_a_reading_that_decides_is_read_back_with_its_unit_and_consequence() -> None:
    """What costs more than a step is said in full, also if a meter reported it."""
    talk = at_the_battery()
    reads(talk, "11.20")
    talk.key("enter")
    assert "11.2 volts." in talk.last
    assert talk.last.endswith("Yes or no?")


def test_nobody_is_told_to_give_the_raw_reading_to_a_meter_that_does() -> None:
    """Its reading has no leads subtracted; if it falls silent, the person is told again."""
    talk = perceiving("primary-check")
    steps = LIBRARY.procedures["primary-check"].steps.values()
    talk.runner.talk.work.step = next(step for step in steps if step.reading and step.reading.subtract)
    inner = talk.runner.talk
    inner.state = State.ASKING
    assert instructing.AS_SHOWN in entering.to_do(inner)
    reads(talk, "0.6", "ohm")
    inner.gear.meter.forget()
    assert instructing.AS_SHOWN not in entering.to_do(inner)
    inner.gear.lost["meter"] = "silent"
    assert instructing.AS_SHOWN in entering.to_do(inner)


def test_leads_in_the_air_and_an_old_reading_are_not_taken_by_themselves() -> None:
    """Nearly nothing on the meter, and what stood there at the step before, wait for "take it"."""
    talk = at_the_battery()
    reads(talk, "0.02", stood=5.0)
    assert State.ASKING is state_of(talk)
    reads(talk, "12.61")
    talk.runner.talk.gear.meter.forget()
    reads(talk, "12.60", stood=5.0)
    assert State.ASKING is state_of(talk)


def test_a_reading_from_before_the_crank_is_not_one_of_the_crank() -> None:
    """What stood on the meter at rest leaves with the first turn; the lowest voltage is another one."""
    talk = at_the_battery()
    talk.hear(value="12.6")
    talk.hear(control=Control.AFFIRM)
    talk.ready()
    reads(talk, "12.60", stood=9.0)
    talk.key("enter")
    assert State.CRANKING is state_of(talk)
    talk.key("enter")
    assert 1 == len(taken(talk))
    assert State.CRANKING is state_of(talk)
    reads(talk, "10.4")
    talk.key("enter")
    assert any(text.startswith("Stop cranking. 10.4. ") for text in talk.said[-2:])
    assert 2 == len(taken(talk))


def test_an_implausible_reading_is_shown_and_cannot_be_taken() -> None:
    """180 V at a battery is a wrong range or probe, and not an answer."""
    talk = at_the_battery()
    reads(talk, "180")
    assert "180 volts on the meter cannot be right here." == shown(talk).message
    talk.hear(control=Control.TAKE_IT)
    assert "Nothing steady on the meter." == talk.last


def test_without_witnesses_nothing_is_asked_or_listened_for_in_another_way() -> None:
    """A session without ear and meter listens for no "take it", and explains how to announce a crank."""
    plain, having = dialogue("battery-and-cranking"), at_the_battery()
    assert Control.TAKE_IT not in plain.request.controls
    assert Control.TAKE_IT in having.request.controls
    assert replace(having.request, controls=plain.request.controls) == plain.request


def test_the_record_of_a_session_with_witnesses_plays_again() -> None:
    """The events alone, through JSON, give the same actions."""
    talk = at_the_battery()
    reads(talk, "12.61")
    talk.hear(control=Control.TAKE_IT)
    talk.hear(control=Control.AFFIRM)
    talk.ready()
    begins(talk)
    ends(talk, after=3)
    again = Dialogue(LIBRARY)
    for event, actions in zip(talk.events, talk.actions, strict=True):
        assert actions == again.runner.receive(from_json(to_json(event)))


def test_a_used_up_starter_is_stopped_by_ear_and_insists_as_before() -> None:
    """While it rests, a heard crank is stopped and counted, and the rest begins anew."""
    talk = perceiving()
    use_up(talk)
    talk.key("enter")
    assert State.RESTING is state_of(talk)
    rested = talk.timers["rest"]
    actions = begins(talk)
    assert Speech.STOP in [action.kind for action in actions if isinstance(action, Say)]
    ends(talk, after=3.0)
    assert State.RESTING is state_of(talk)
    assert talk.timers["rest"] > rested


def test_the_number_of_cylinders_is_asked_once_and_only_for_the_ear() -> None:
    """At the step that cranks to hear how, if nobody told it before, and not without an ear."""
    for witnesses, typed, state in (
        (ALL, (), State.INQUIRING),
        ((), (), State.CAUTIONING),
        (ALL, (TypedFact("cylinders", "6"),), State.CAUTIONING),
    ):
        talk = Dialogue(LIBRARY)
        talk.send(Began(talk.now, "first-look", typed, witnesses=witnesses))
        assert (6 if typed else None) == talk.runner.cylinders
        entering.enter_step(talk.runner.talk, "crank-and-listen")
        inner = talk.runner.talk
        assert state is entering.before_step(inner, offer=True)
        asked = inner.facts.asked
        assert ("cylinders" if state is State.INQUIRING else None) == (asked and asked.inquiry.name)


def test_a_meter_is_told_what_is_wanted_anew_for_each_question() -> None:
    """Units, borders and a turn that differs at the next step, and when the engine turns; nothing elsewhere."""
    talk = at_the_battery()
    first = talk.runner.wanted
    assert first is not None
    assert (("V", "mV"), False, (Decimal("11.9"), Decimal("12.4"))) == (first.units, first.ac, first.limits)
    talk.hear(value="12.6")
    assert talk.runner.wanted is None
    talk.hear(control=Control.AFFIRM)
    talk.ready()
    second = talk.runner.wanted
    assert second is not None
    assert second.turn != first.turn
    talk.key("enter")
    third = talk.runner.wanted
    assert third is not None
    assert third.turn != second.turn


def test_the_shape_of_a_ramp_is_proposed_and_never_taken() -> None:
    """A clamp that reports samples proposes the shape at the step that asks for it."""
    talk = perceiving("primary-check")
    step = next(one for one in LIBRARY.procedures["primary-check"].steps.values() if one.answer("slow-ramp"))
    talk.runner.talk.work.step = step
    talk.runner.talk.state = State.ASKING
    seen = Perceived(talk.now, Witness.CLAMP, Result(outcome="slow-ramp"), 0.9)
    assert spoken(talk.send(seen))[0].startswith("The clamp shows: sloped.")
    assert State.READING_BACK is state_of(talk)
    assert [] == taken(talk)
