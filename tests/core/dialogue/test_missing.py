"""Noise, a lost microphone and a lost loudspeaker: what is said of them, and what still works."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sample_states import LIBRARY, dialogue, shown, taken

from assistant.core.dialogue.states import State
from assistant.core.values import entries
from assistant.core.values.events import GearBack, GearLost, LevelChanged, Listen, NoiseChanged, StopListening
from assistant.core.values.result import Control, GrammarRequest
from assistant.core.values.thresholds import OLD_RULES
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue


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
    talk.wait(16)
    assert "Too loud to hear you. Use the keys." in talk.last


def test_a_microphone_lost_while_cranking_is_said_with_the_next_words() -> None:
    """Nobody goes on talking to a deaf machine."""
    talk = dialogue()
    talk.key("enter")
    talk.send(GearLost(talk.now, "microphone", "unplugged"))
    talk.wait(16)
    assert "Stop cranking. No microphone. Use the keys. 1 for lit. 2 for dim. 3 for dark." == talk.last


def test_a_bad_level_is_said_with_the_next_words_and_stays_on_the_board() -> None:
    """It interrupts nothing; the board shows figure and cure until it is good; the record notes both."""
    talk = dialogue()
    why = "Speech at -58 dB of full scale. Turn up its recording level or boost, or hold it nearer."
    talk.send(LevelChanged(talk.now, "quiet", why))
    assert shown(talk).lost == (("good microphone level", why),)
    talk.hear(control=Control.SAY_AGAIN)
    assert talk.last.startswith("The microphone is too quiet. See the screen.")
    talk.send(LevelChanged(talk.now, "", "speech at -25 dB of full scale"))
    assert shown(talk).lost == ()
    modes = [entry.mode for entry in talk.entries if isinstance(entry, entries.ModeChanged)]
    assert ["microphone level bad (quiet)", "microphone level good"] == modes


def test_a_bad_level_that_was_mended_meanwhile_is_not_spoken_of() -> None:
    """A notice that is still owed goes when its reason has gone."""
    talk = dialogue()
    talk.send(LevelChanged(talk.now, "clipped", "half of loud speech is cut off"))
    talk.send(LevelChanged(talk.now, "", "nothing is cut off"))
    talk.hear(control=Control.SAY_AGAIN)
    assert "microphone" not in talk.last


def test_a_lost_pad_is_said_once_and_comes_back() -> None:
    """A number pad of its own that is unplugged: what to do is said, the board keeps it, and the voice goes on."""
    talk = dialogue()
    talk.send(GearLost(talk.now, "number pad", "unplugged"))
    assert "No number pad. Plug it in again." == talk.last
    assert (("number pad", "unplugged"),) == shown(talk).lost
    talk.send(GearBack(talk.now, "number pad"))
    assert "The number pad is back." == talk.last
    assert () == shown(talk).lost
    modes = [entry.mode for entry in talk.entries if isinstance(entry, entries.ModeChanged)]
    assert ["number pad lost", "number pad back"] == modes


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
