"""After a repair the measurement that had failed is taken again, as a number or as what the lamp shows."""

from __future__ import annotations

import json

from recorded import BAD_COIL, OPEN_CONTROL_WIRE, library, scripted, session as recorded

from assistant.core.dialogue.repeating import AGAIN
from assistant.core.dialogue.states import State
from assistant.core.values.codec import from_json, to_json
from assistant.core.values.entries import (
    CautionGiven,
    ProcedureEntered,
    ResultRepeated,
    StepSkipped,
    VerdictReached,
)
from assistant.core.values.result import Control
from assistant.rehearsal.dialogue import Dialogue
from assistant.writeup import draft


def repeats(talk: Dialogue) -> list[ResultRepeated]:
    """Results of repeated measurements."""
    return [entry for entry in talk.entries if isinstance(entry, ResultRepeated)]


def at_the_repeat(*answers: str) -> Dialogue:
    """A session that has just come to the question of the repeated test."""
    talk = Dialogue(library())
    talk.begin("coil-control")
    left = list(answers)
    for _ in range(300):
        state = talk.runner.state
        if talk.runner.position == ("after-repair", "failed-test") and state is State.ASKING:
            return talk
        if state is State.ASKING:
            value, _, unit = left.pop(0).partition(" ")
            talk.hear(value=value, unit=unit) if unit else talk.hear(value)
        elif state is State.CONCLUDING:
            talk.hear(control=Control.GO_AHEAD)
        elif state is State.ACKNOWLEDGING:
            talk.hear(control=Control.READY)
        elif state in (State.READING_BACK, State.CONFIRMING):
            talk.hear(control=Control.AFFIRM)
        elif state is State.INQUIRING:
            talk.key("plus")
        elif state is State.RESTING:
            talk.wait(75)
        else:
            talk.wait(5)
            talk.listen()
    raise AssertionError(talk.runner.position)


def test_the_reading_that_had_failed_is_asked_again_as_a_number() -> None:
    """40 ohm had decided: the same ohms are asked for, connected anew, and 0.2 ohm goes on."""
    talk = at_the_repeat(*OPEN_CONTROL_WIRE)
    step = talk.runner.step
    assert ("ohmmeter", "ohm") == (step.measure.instrument, step.reading.unit if step.reading else "")
    assert AGAIN in " ".join(talk.said[-3:])
    assert "ohm" in talk.last
    assert "nplug the coil" in talk.last  # after a repair nothing is known to be unplugged
    talk.hear(value="0.2", unit="ohm")
    talk.hear(control=Control.AFFIRM)
    (taken,) = repeats(talk)
    assert ("good", "0.2", "ohm", 4) == (taken.outcome, str(taken.value), taken.unit, taken.repeats)
    assert ("after-repair", "putting-back") == talk.runner.position


def test_a_reading_outside_its_limit_is_not_fixed() -> None:
    """The repair did not hold: the number says so, not an opinion."""
    talk = scripted(*OPEN_CONTROL_WIRE, "5 ohm")
    (taken,) = repeats(talk)
    assert ("faulty", "open") == (taken.outcome, taken.shown)
    last = [entry for entry in talk.entries if isinstance(entry, VerdictReached)][-1]
    assert ("after-repair", "still-faulty") == (last.procedure, last.verdict)


def test_where_a_spark_tester_decided_it_is_looked_at_again() -> None:
    """The very place that had no spark is tested again, and answered with what is seen; with its cautions before."""
    talk = at_the_repeat(*BAD_COIL)
    step = talk.runner.step
    assert "spark-tester" == step.measure.instrument
    entered = [isinstance(one, ProcedureEntered) and one.procedure == "after-repair" for one in talk.entries]
    given = {one.caution for one in talk.entries[entered.index(True) :] if isinstance(one, CautionGiven)}
    covered = {hazard for name in given for hazard in library().cautions[name].covers}
    assert set(step.measure.hazards()) <= covered
    talk.hear("strong-spark")
    while talk.runner.state is State.READING_BACK:
        talk.hear(control=Control.AFFIRM)
    (taken,) = repeats(talk)
    assert ("good", "strong-spark", None) == (taken.outcome, taken.shown, taken.value)


def test_the_earlier_reading_is_never_offered_instead() -> None:
    """A reading from before the repair proves nothing, so it is not kept for the one after it."""
    talk = at_the_repeat(*OPEN_CONTROL_WIRE)
    after = talk.said[talk.said.index(next(words for words in talk.said if AGAIN in words)) :]
    assert not any("Already measured" in words for words in after)


def test_a_repeat_that_is_taken_back_is_asked_again_the_same_way() -> None:
    """A correction leads to the same measurement, and the first number does not count."""
    talk = at_the_repeat(*OPEN_CONTROL_WIRE)
    measure = talk.runner.step.measure
    talk.hear(value="0.2", unit="ohm")
    talk.hear(control=Control.AFFIRM)
    talk.hear(control=Control.CORRECTION)
    while talk.runner.state is not State.ASKING:
        talk.hear(control=Control.READY) if talk.runner.state is State.ACKNOWLEDGING else talk.wait(5)
        talk.listen()
    assert measure == talk.runner.step.measure


def test_a_repeat_that_is_skipped_leaves_the_repair_unproven() -> None:
    """Without the measurement nothing is called fixed."""
    talk = at_the_repeat(*OPEN_CONTROL_WIRE)
    talk.hear(control=Control.SKIP)
    talk.key("1")
    skip = [entry for entry in talk.entries if isinstance(entry, StepSkipped)][-1]
    assert ("after-repair", "failed-test", "verdict:measure-first") == (skip.procedure, skip.step, skip.next)


def test_started_alone_it_asks_whether_the_test_passed() -> None:
    """Without an earlier result in the session there is no measurement to repeat, so the question stays a question."""
    talk = Dialogue(library())
    talk.begin("after-repair")
    while talk.runner.state is not State.ASKING:
        talk.hear(control=Control.READY) if talk.runner.state is State.ACKNOWLEDGING else talk.listen()
    assert "check" == talk.runner.step.measure.instrument
    assert {"good", "faulty", "not-yet"} == {answer.outcome for answer in talk.runner.step.answers}


def test_the_recorded_events_give_the_recorded_actions_again() -> None:
    """Replay and resuming rest on it; the entry survives the log's JSON."""
    first = scripted(*OPEN_CONTROL_WIRE, "0.2 ohm", "done")
    again = Dialogue(library())
    for event, actions in zip(first.events, first.actions, strict=True):
        assert actions == again.runner.receive(event)
    (taken,) = repeats(first)
    assert taken == from_json(json.loads(json.dumps(to_json(taken))))


def test_the_write_up_shows_before_and_after_side_by_side() -> None:
    """40 ohm failed, 0.2 ohm passed; the row of the test says the connection that was measured, not 'check'."""
    made = draft(recorded(scripted(*OPEN_CONTROL_WIRE, "0.2 ohm", "done")), library())
    row = next(one for one in made.deciding if one.after)
    assert (4, 7, "failed", "passed") == (
        row.before_test,
        row.after_test,
        row.before_judged,
        row.after_judged,
    )
    assert row.before.startswith("40 ohm")
    assert row.after.startswith("0.2 ohm")
    before, after = (next(one for one in made.tests if one.number == number) for number in (4, 7))
    assert (before.connection, before.expected, before.source) == (
        after.connection,
        after.expected,
        after.source,
    )
    assert library().procedures["coil-and-driver"].verdicts["control-wire-open"].says == made.cause.text
