"""A caution is spoken to its end and acknowledged before a step that needs it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sample_states import CRANK, LIBRARY, dialogue, state_of, taken, to_switched_side

from assistant.core.dialogue.states import State
from assistant.core.values import entries
from assistant.core.values.events import Began, KeyPressed, Say, SpeechFinished, ToldToday, TypedFact
from assistant.core.values.result import Control
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue


def test_the_first_step_waits_for_its_caution_and_for_ready() -> None:
    """A step that cranks is not released until its caution has been spoken to the end and acknowledged."""
    talk = Dialogue(LIBRARY)
    talk.send(Began(0.0, "coil-control"))
    assert LIBRARY.cautions["cranking"].full in talk.last
    talk.send(KeyPressed(talk.now, "enter"))
    talk.send(KeyPressed(talk.now, "1"))
    assert State.CAUTIONING is state_of(talk)
    talk.listen()
    assert State.ACKNOWLEDGING is state_of(talk)
    assert taken(talk) == []
    talk.key("enter")
    assert CRANK in talk.last


def test_a_caution_that_was_cut_is_said_again() -> None:
    """A caution counts as given only when its last word was spoken."""
    talk = Dialogue(LIBRARY)
    actions = talk.send(Began(0.0, "coil-control"))
    (said,) = [action for action in actions if isinstance(action, Say)]
    talk.send(SpeechFinished(2.0, said.utterance, cut=True))
    assert len(talk.said) == 2
    assert talk.said[1] in talk.said[0]
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


def test_a_caution_is_in_full_once_in_a_session() -> None:
    """However long the work takes, the full form is spoken once; in a session of earlier rules it comes back."""
    for limits, form in ((DEFAULT_THRESHOLDS, "short"), (replace(DEFAULT_THRESHOLDS, rules=1), "full")):
        talk = Dialogue(LIBRARY, limits)
        talk.begin("coil-control")
        talk.ready()
        talk.wait(DEFAULT_THRESHOLDS.caution_again_s + 1)
        talk.hear("lit")
        assert form == [e.form for e in given(talk) if e.caution == "cranking"][-1]


def given(talk: Dialogue) -> list[entries.CautionGiven]:
    """All cautions that were given."""
    return [entry for entry in talk.entries if isinstance(entry, entries.CautionGiven)]


def test_cautions_before_a_step_are_one_utterance_with_one_acknowledgement() -> None:
    """Those of the procedure and those of the step are spoken together, the gravest first, each signal word once."""
    talk = Dialogue(LIBRARY)
    talk.begin("coil-control")
    (said,) = talk.said
    assert len(given(talk)) == 5
    words = [word for word in said.split() if word in {"Danger:", "Warning:", "Caution:", "Notice:"}]
    assert words == ["Danger:", "Warning:", "Caution:", "Notice:"]
    talk.hear(control=Control.READY)
    assert State.ASKING is state_of(talk)


def test_a_hazard_is_acknowledged_once_under_whichever_caution() -> None:
    """A new caution for a known hazard is spoken in full, but nobody has to say ready again."""
    talk = dialogue("after-repair")
    for answer in ("good", "done", "done"):
        talk.hear(answer)
    talk.ready()
    talk.key("enter")
    talk.hear("runs")
    assert ("running-engine", "full") in [(e.caution, e.form) for e in given(talk)]
    assert State.ASKING is state_of(talk)


def told(technician: str = "JD") -> ToldToday:
    """What somebody was told in an earlier session of the day."""
    cautions = ("before-work", "lamp-choice", "secondary", "cranking", "live-circuit")
    return ToldToday(technician, cautions, ("before-work", "secondary", "cranking"), cranking=True)


@pytest.mark.parametrize("name", ["JD", "j.d."])
def test_who_signs_in_again_on_the_same_day_hears_short_forms_from_the_start(name: str) -> None:
    """What was told and acknowledged earlier today is not told in full, and needs no ready; a new hazard does."""
    talk = Dialogue(LIBRARY)
    talk.send(Began(0.0, "coil-control", (TypedFact("technician", name),), (told(),)))
    talk.listen()
    assert {"short"} == {entry.form for entry in given(talk)}
    assert {"before-work", "secondary", "cranking"} == {entry.caution for entry in given(talk)}
    assert State.ASKING is state_of(talk)
    assert "Say cranking now" not in talk.last
    talk.hear("lit")
    assert ("switched-side", "full") in [(e.caution, e.form) for e in given(talk)]
    assert State.ACKNOWLEDGING is state_of(talk)


@pytest.mark.parametrize("name", ["", "KL"])
def test_nobody_else_is_spared_the_full_forms(name: str) -> None:
    """Without a technician, or with another one, everything is told in full."""
    talk = Dialogue(LIBRARY)
    facts = (TypedFact("technician", name),) if name else ()
    talk.send(Began(0.0, "coil-control", facts, (told(),)))
    talk.listen()
    assert {"full"} == {entry.form for entry in given(talk)}
    assert State.ACKNOWLEDGING is state_of(talk)


def test_short_forms_begin_when_the_technician_signs_in_by_voice() -> None:
    """The initials count from the moment that they are affirmed."""
    talk = Dialogue(LIBRARY)
    talk.send(Began(0.0, "safe-start", (), (told(),)))
    talk.listen()
    for fact in LIBRARY.procedures["safe-start"].asks:
        if fact == "technician":
            talk.hear(signs="JD")
            talk.hear(control=Control.THAT_IS_ALL)
            talk.hear(control=Control.AFFIRM)
        else:
            talk.hear(control=Control.LEAVE_BLANK)
    assert not given(talk)
    talk.hear(control=Control.OTHER_TEST)
    talk.hear("coil-control")
    assert ("before-work", "short") in [(e.caution, e.form) for e in given(talk)]
    assert {"short"} == {entry.form for entry in given(talk)}
    assert State.ASKING is state_of(talk)
