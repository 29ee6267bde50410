"""A caution is spoken to its end and acknowledged before a step that needs it."""

from __future__ import annotations

from sample_states import LIBRARY, dialogue, state_of, taken, to_switched_side

from assistant.core.dialogue.states import State
from assistant.core.values import entries
from assistant.core.values.events import Began, KeyPressed, Say, SpeechFinished
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue


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
    assert "Crank it." in talk.last


def test_a_caution_that_was_cut_is_said_again() -> None:
    """A caution counts as given only when its last word was spoken."""
    talk = Dialogue(LIBRARY)
    actions = talk.send(Began(0.0, "coil-control"))
    (said,) = [action for action in actions if isinstance(action, Say)]
    talk.send(SpeechFinished(2.0, said.utterance, cut=True))
    assert sum("service manual." in text for text in talk.said) == 2
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
    assert "Hands, hair and leads" in talk.last
