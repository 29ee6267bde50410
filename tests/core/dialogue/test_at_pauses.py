"""Standing by, voice notes, the end of a session, and going on with it later."""

from __future__ import annotations

import pytest
from sample_states import LIBRARY, WEIGHING, dialogue, in_state, shown, state_of, taken, to_switched_side

from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.states import State
from assistant.core.values import entries
from assistant.core.values.events import Began, GearLost, Resumed
from assistant.core.values.result import Control
from assistant.errors import UsageProblem
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue


def test_stand_by_and_go_ahead_return_to_the_step_with_its_caution() -> None:
    """After a pause the cranking caution is spoken again."""
    talk = dialogue()
    talk.hear(control=Control.STAND_BY)
    talk.hear(control=Control.GO_AHEAD)
    assert "hands clear" in talk.said[-2]
    assert "Clip the lamp to battery negative." in talk.last


def test_without_a_loudspeaker_standing_by_leaves_the_board_when_the_work_goes_on() -> None:
    """What stood there instead of the voice is not read as the state of the next step."""
    talk = dialogue()
    talk.send(GearLost(talk.now, "speaker", "unplugged"))
    talk.hear(control=Control.STAND_BY)
    assert shown(talk).message.startswith("Standing by.")
    talk.hear(control=Control.GO_AHEAD)
    assert "" == shown(talk).message


def test_a_voice_note_is_kept_and_the_question_comes_again() -> None:
    """The clip is entered at its step; the dialogue goes on where it was."""
    talk = dialogue()
    talk.hear(control=Control.VOICE_NOTE)
    (note,) = [entry for entry in talk.entries if isinstance(entry, entries.VoiceNoteTaken)]
    assert (note.clip, note.step) == ("clips/0001.flac", "feed-while-cranking")
    assert talk.last == "Note saved. Lit, dim, or dark?"


def test_a_note_without_a_microphone_is_refused_and_one_that_loses_it_ends() -> None:
    """Nobody waits for a note that cannot be recorded."""
    talk = dialogue()
    talk.send(GearLost(talk.now, "microphone", "unplugged"))
    talk.key("9")
    assert "No microphone. I can't take a note." == talk.last
    assert State.ASKING is talk.runner.state
    talk = in_state(State.NOTING)
    talk.send(GearLost(talk.now, "microphone", "unplugged"))
    assert "The note is lost." in talk.last
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
    assert "Hands, hair and leads clear" in again.last
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
    assert "Say yes, or correction." in talk.last
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


def test_an_earlier_result_of_the_same_measurement_is_taken_over() -> None:
    """What was measured once is not asked again if it only leads on; what decides is offered and must be affirmed."""
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
    assert [("feed-while-cranking", "lit"), ("driver-end-while-cranking", "lit")] == taken(talk)[-2:]
    assert "Already measured." not in talk.last
    talk.ready()
    talk.rested()
    talk.hear("lit")
    talk.hear("lit")
    talk.ready()
    talk.rested()
    talk.hear("present")
    talk.rested()
    talk.hear("present")
    assert taken(talk)[-1] == ("primary-current", "none")
    assert "Already measured. Control pin: dark. That would mean: The driver has feed" in talk.last
    talk.hear(control=Control.AFFIRM)
    assert taken(talk)[-1] == ("control-terminal-unplugged", "dark")
    assert State.CONCLUDING is talk.runner.state


def test_a_correction_goes_back_behind_what_was_taken_over() -> None:
    """Nobody gave the answers that were taken over, so it is the last one that was given that is asked again."""
    talk = to_switched_side()
    for answer in ("steady", "lit"):
        talk.hear(answer)
        talk.rested()
    talk.hear(value="0.1", unit="A")
    talk.hear(control=Control.AFFIRM)
    talk.hear("dark")
    talk.hear(control=Control.AFFIRM)
    talk.hear(control=Control.GO_AHEAD)
    talk.hear("lamp-off")
    assert ("driver-supply-and-inputs", "driver-supply") == talk.runner.position
    talk.hear(control=Control.CORRECTION)
    assert ("driver-supply-and-inputs", "security-lamp") == talk.runner.position
    undone = [entry.step for entry in talk.entries if isinstance(entry, entries.ResultUndone)]
    assert ["driver-end-while-cranking", "feed-while-cranking", "security-lamp"] == undone


def test_an_unknown_procedure_is_named_with_the_known_ones() -> None:
    """A wrong name at the start is the caller's mistake and says what exists."""
    with pytest.raises(UsageProblem, match="coil-control"):
        Runner(LIBRARY, None, DEFAULT_THRESHOLDS).receive(Began(0.0, "coil-controll"))


def test_a_stop_says_its_next_check_and_shows_what_is_good() -> None:
    """At a stop the check is spoken with the verdict, and the board has its value, so nobody is left standing."""
    talk = Dialogue(WEIGHING)
    talk.begin("ignition-kind")
    for outcome in ("unknown", "three-wires", "several"):
        talk.hear(outcome)
        if state_of(talk) is State.READING_BACK:
            talk.hear(control=Control.AFFIRM)
    check = WEIGHING.procedures["ignition-kind"].verdicts["diagram-first"].next_check
    assert check is not None
    assert State.CONCLUDING is state_of(talk)
    assert check.do in talk.last
    assert any(check.value in line for line in shown(talk).lines)
