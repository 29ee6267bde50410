"""Details of the dialogue that nothing else would miss: each was once wrong for a while without a failing test."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from sample_knowledge import CIRCUIT, knowing
from sample_library import sample_library
from sample_states import WEIGHING

from assistant.core.dialogue.policy import HEAVIEST_LAMP_A, lamp_refused
from assistant.core.dialogue.states import State
from assistant.core.library.library import Library
from assistant.core.library.procedure import Engine, Measurement
from assistant.core.reasoning.evidence import assess
from assistant.core.reasoning.posterior import WeighedResult
from assistant.core.values.entries import CautionGiven
from assistant.core.values.result import Control
from assistant.core.values.thresholds import ONE_WORD
from assistant.measured import DEFAULT_THRESHOLDS as LIMITS
from assistant.rehearsal.dialogue import Dialogue

LIBRARY = sample_library()


def begun(procedure: str = "coil-control", library: Library = LIBRARY) -> Dialogue:
    """A session at its first question."""
    talk = Dialogue(library)
    talk.begin(procedure)
    talk.ready()
    return talk


def choose(talk: Dialogue, name: str) -> None:
    """Ask for another test, and name it."""
    talk.hear(control=Control.OTHER_TEST)
    talk.hear(name)
    talk.ready()


def test_taking_back_the_end_of_another_test_waits_for_the_paused_one_again() -> None:
    """The procedure that was paused for another test is come back to, also after that test's end was taken back."""
    talk = begun()
    choose(talk, "ignition-kind")
    for _ in range(2):  # its end is reached, taken back, and reached again
        talk.hear("capacitive")
        talk.hear(control=Control.AFFIRM)
        assert talk.runner.state is State.CONCLUDING
        talk.hear(control=Control.GO_AHEAD)
        talk.ready()
        assert talk.runner.position == ("coil-control", "feed-while-cranking")
        talk.hear(control=Control.CORRECTION)
        talk.ready()
        assert talk.runner.position == ("ignition-kind", "coil-driver")


@pytest.mark.parametrize("rules", [ONE_WORD, ONE_WORD - 1])
def test_one_yes_keeps_all_that_leads_to_a_step(rules: int) -> None:
    """Of a test that is asked for again the first result is offered; the next one needs no question, and what leads
    elsewhere is offered alone.  In a session of earlier rules each is offered.
    """
    talk = Dialogue(WEIGHING, replace(LIMITS, rules=rules))
    talk.begin("coil-control")
    talk.ready()
    talk.hear(value="11.1")
    talk.hear(control=Control.AFFIRM)
    talk.ready()
    talk.hear("feed-dark")
    talk.ready()
    talk.rested()
    talk.hear(value="0.0")
    talk.hear(control=Control.AFFIRM)
    choose(talk, "driver-supply-and-inputs")
    offered = [talk.runner.position[1]]
    kept = "Keep all you measured? Yes or no?" if rules == ONE_WORD else "Keep it? Yes or no?"
    assert talk.last.endswith(kept)
    while talk.runner.position[1] != "feed-volts-while-cranking":
        talk.hear(control=Control.AFFIRM)
        if talk.runner.position[1] == "security-lamp":
            talk.hear("lamp-off")
        offered.append(talk.runner.position[1])
    looked = [] if rules == ONE_WORD else ["feed-and-switched"]
    assert ["battery-while-cranking", *looked, "feed-volts-while-cranking"] == offered
    assert talk.runner.state is State.READING_BACK
    assert talk.last.endswith("Keep it? Yes or no?")
    talk.hear(control=Control.NEGATIVE)
    talk.ready()
    talk.hear(control=Control.CORRECTION)
    back = "security-lamp" if rules == ONE_WORD else "feed-and-switched"
    assert back == talk.runner.position[1], "a correction goes back behind what was kept without a question"


def test_a_caution_is_short_while_it_keeps_being_given() -> None:
    """The time after which it is full again counts from when it was last given, not from the first time."""
    talk = begun()
    pause = LIMITS.caution_again_s * 0.6
    for answer in ("lit", "steady", "lit"):
        talk.wait(pause)
        talk.hear(answer)
        talk.ready()
        talk.rested()
    forms = [one.form for one in talk.entries if isinstance(one, CautionGiven) and one.caution == "cranking"]
    assert forms[0] == "full"
    assert len(forms) >= 3
    assert set(forms[1:]) == {"short"}


@pytest.mark.parametrize(("highest", "offered"), [("2000", True), ("12.0", False)])
def test_an_earlier_reading_that_cannot_be_believed_here_is_not_offered(highest: str, offered: bool) -> None:
    """The same measurement in two steps: a reading outside what the second step believes is measured anew."""
    first = LIBRARY.procedures["battery-and-cranking"]
    start = first.steps[first.start]
    assert start.reading is not None
    low, _ = start.reading.plausible
    again = replace(
        start, name="battery-again", reading=replace(start.reading, plausible=(low, Decimal(highest)))
    )
    other = replace(
        first, name="starter-circuit", start="battery-again", steps={**first.steps, "battery-again": again}
    )
    library = replace(LIBRARY, procedures={**LIBRARY.procedures, "starter-circuit": other})
    talk = begun("battery-and-cranking", library)
    talk.hear(value="12.6")
    talk.hear(control=Control.AFFIRM)
    talk.ready()
    choose(talk, "starter-circuit")
    assert talk.runner.position == ("starter-circuit", "battery-again")
    assert (talk.runner.state is State.READING_BACK) is offered
    assert ("Already measured." in talk.last) is offered


CRANKED = Measurement(
    instrument="test-lamp", clip="battery-negative", probe="switched", engine=Engine.CRANKING
)


@pytest.mark.parametrize("place", ["switched", "driver-end"])
def test_a_lamp_that_loads_the_coil_is_refused_at_both_ends_of_the_control_wire(place: str) -> None:
    """Above the limit a lamp is refused on the switched side and at the driver's end; at the limit it is not."""
    measure = replace(CRANKED, probe=place)
    assert lamp_refused(measure, "filament", HEAVIEST_LAMP_A + Decimal("0.01"))
    assert not lamp_refused(measure, "filament", HEAVIEST_LAMP_A)
    assert not lamp_refused(replace(measure, probe="feed"), "filament", HEAVIEST_LAMP_A * 2)
    assert not lamp_refused(replace(measure, engine=Engine.KEY_ON), "filament", HEAVIEST_LAMP_A * 2)


def test_results_that_say_nothing_about_the_circuit_raise_no_doubt() -> None:
    """A doubt is weighed among the results that the table knows; the battery's readings do not sharpen it."""
    knowledge = knowing(LIBRARY)
    weighed = (
        WeighedResult("coil-control", "same-as-feed", "sharper", 0.6),
        WeighedResult("coil-control", "reversed-lamp-dim-switched", "lit", 0.8),
    )
    battery = LIBRARY.procedures["battery-and-cranking"]
    foreign = WeighedResult(
        battery.name, battery.start, battery.steps[battery.start].choices()[0].outcome, 0.99
    )
    alone = assess(LIBRARY, knowledge, CIRCUIT, weighed, LIMITS)
    beside = assess(LIBRARY, knowledge, CIRCUIT, (*weighed, *[foreign] * 20), LIMITS)
    assert alone is not None
    assert beside is not None
    assert alone.slip == pytest.approx(beside.slip)
    assert alone.slip > LIMITS.doubt_from
    assert alone.doubt() is None
    assert beside.doubt() is None
