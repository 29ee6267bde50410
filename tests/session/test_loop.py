"""The loop between the dialogue and its edges, on a made clock with stand-ins for the edges."""

from __future__ import annotations

import io
from collections.abc import Callable

import numpy as np
import pytest
from shipped import shipped_folder

from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.states import State
from assistant.core.values.events import (
    Action,
    Closed,
    Event,
    GearBack,
    GearLost,
    Heard,
    Say,
    Show,
    SpeechFinished,
)
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.errors import DiskNearlyFull, GearProblem, RecordProblem
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.screen.terminal import LineScreen
from assistant.session.loop import Session
from assistant.speaking.output import NullPlayer
from assistant.speaking.speech import SpokenSound
from assistant.speaking.voice import Voice

LIBRARY, KNOWLEDGE = shipped_folder()


class Clock:
    """A clock that moves when it is told to."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


class Renderer(Voice):
    """Renders every text as two seconds of silence, or fails."""

    def __init__(self) -> None:
        self.broken = False

    def render(self, text: str) -> SpokenSound:
        if self.broken:
            raise GearProblem("The voice is gone.")
        return SpokenSound(np.zeros(16000, np.int16), 8000, text)


class Listening:
    """Remembers what it was asked to hear."""

    def __init__(self) -> None:
        self.calls: list[str] = []
        self.request: GrammarRequest | None = None

    def listen(self, request: GrammarRequest) -> None:
        self.request = request
        self.calls.append("listen")

    def pause(self) -> None:
        self.request = None
        self.calls.append("pause")

    def record_note(self, longest_s: float) -> None:
        self.calls.append("note")

    def end_note(self) -> None:
        self.calls.append("end note")

    def close(self) -> None:
        self.calls.append("close")


class Stage:
    """A session with stand-ins on all sides."""

    def __init__(self, tmp: Callable[[str], None], *, headset: bool = False) -> None:
        self.clock = Clock()
        self.ears = Listening()
        self.voice = Renderer()
        self.player = NullPlayer(self.clock)
        self.lines: list[tuple[Event, tuple[Action, ...]]] = []
        self.fail: RecordProblem | None = None
        self.warn: RecordProblem | None = None
        self.runner = Runner(LIBRARY, KNOWLEDGE, DEFAULT_THRESHOLDS)
        self.on_append = tmp
        self.text = io.StringIO()
        self.session = Session(
            runner=self.runner,
            log=self,
            voice=self.voice,
            output=self.player,
            screen=LineScreen(self.text),
            now=self.clock,
            headset=headset,
        )
        self.session.ears = self.ears

    def append(self, event: Event, actions: tuple[Action, ...]) -> RecordProblem | None:
        if self.fail:
            raise self.fail
        self.on_append("append")
        self.lines.append((event, actions))
        warning, self.warn = self.warn, None
        return warning

    def speak_out(self) -> None:
        """Let all speech come to its end."""
        while self.player.due is not None:
            self.clock.now = self.player.due
            self.player.tick()
            self.session.drain()
        self.session.drain()

    def ready(self) -> None:
        """Acknowledge all cautions that wait for it."""
        while self.runner.state is State.ACKNOWLEDGING:
            self.say(control=Control.READY)
            self.speak_out()

    def say(self, **result: object) -> None:
        self.clock.now += 1
        self.session.take(Heard(self.clock.now, "x", Result(**result), 0.99))  # type: ignore[arg-type]


@pytest.fixture
def stage() -> Stage:
    return Stage(lambda _: None)


def test_an_event_is_on_the_disk_before_anything_is_said() -> None:
    """When the record is written, the speech that follows has not begun."""
    seen: list[bool] = []
    stage = Stage(lambda _: seen.append(stage.player.due is None))
    stage.session.begin("coil-control")
    assert seen == [True]
    assert stage.player.due is not None


def test_half_duplex_hears_nothing_while_it_speaks(stage: Stage) -> None:
    """The microphone is paused when speech starts and opened when it has ended."""
    stage.session.begin("coil-control")
    assert "listen" not in stage.ears.calls
    stage.speak_out()
    assert State.ACKNOWLEDGING is stage.runner.state
    assert stage.ears.calls[-1] == "listen"
    stage.say(control=Control.READY)
    assert stage.ears.calls[-1] == "pause"


def test_a_headset_listens_while_it_speaks() -> None:
    """Full duplex: what may be said is heard at once, and cuts the speech."""
    stage = Stage(lambda _: None, headset=True)
    stage.session.begin("coil-control")
    assert stage.ears.request is not None
    assert Control.STOP in stage.ears.request.controls


def test_silence_is_counted_from_the_end_of_speech(stage: Stage) -> None:
    """No-input is due its full time after the prompt, not after its beginning."""
    stage.session.begin("coil-control")
    stage.speak_out()
    due = stage.session.next_due()
    assert due == pytest.approx(stage.clock.now + 30.0)


def test_silence_is_not_counted_while_someone_speaks(stage: Stage) -> None:
    """From the first sound of speech the count stops; if it was nothing it starts anew."""
    stage.session.begin("coil-control")
    stage.speak_out()
    stage.session.speech_began()
    stage.session.drain()
    assert stage.session.next_due() is None
    stage.session.speech_ended()
    stage.session.drain()
    assert stage.session.next_due() == pytest.approx(stage.clock.now + 30.0)


def test_silence_is_not_counted_while_the_assistant_speaks() -> None:
    """With a headset a noise that was no speech ends while a prompt is spoken: the count waits for the prompt's end."""
    stage = Stage(lambda _: None, headset=True)
    stage.session.begin("coil-control")
    stage.speak_out()
    stage.ready()
    stage.say(control=Control.SAY_AGAIN)
    stage.session.drain()
    assert stage.player.due is not None
    stage.session.speech_began()
    stage.session.speech_ended()
    stage.session.drain()
    assert stage.session.next_due() is None
    stage.speak_out()
    assert stage.session.next_due() == pytest.approx(stage.clock.now + 30.0)


def test_timers_fire_once_and_in_order(stage: Stage) -> None:
    """A crank that runs to its limit is ended by the timer."""
    stage.session.begin("coil-control")
    stage.speak_out()
    stage.ready()
    stage.session.press("enter")
    stage.session.drain()
    assert State.CRANKING is stage.runner.state
    stage.clock.now += DEFAULT_THRESHOLDS.starter.longest_s + 0.1
    stage.session.fire_due()
    assert State.ASKING is stage.runner.state
    count = len(stage.lines)
    stage.session.fire_due()
    assert count == len(stage.lines)


def test_a_voice_that_fails_becomes_a_lost_loudspeaker(stage: Stage) -> None:
    """The session goes on: cautions are shown instead and must be acknowledged."""
    stage.voice.broken = True
    stage.session.begin("coil-control")
    stage.session.drain()
    assert State.ACKNOWLEDGING is stage.runner.state
    assert "The voice is gone." in stage.text.getvalue()


def test_a_record_that_cannot_be_written_stops_the_session(stage: Stage) -> None:
    """Speech is cut, the microphone closed, and the error reaches the command line."""
    stage.session.begin("coil-control")
    stage.fail = RecordProblem("The disk is full.")
    with pytest.raises(RecordProblem, match="disk is full"):
        stage.session.take(SpeechFinished(1.0, 1))
    assert stage.player.due is None
    assert stage.ears.calls[-1] == "pause"


@pytest.mark.parametrize(
    ("problem", "gear", "spoken"),
    [
        (RecordProblem("It goes on in /kept/one."), "record", "The record moved to another place."),
        (DiskNearlyFull("99 MB are left."), "disk", "The disk is nearly full."),
    ],
)
def test_trouble_with_the_record_is_spoken_shown_and_recorded(
    stage: Stage, problem: RecordProblem, gear: str, spoken: str
) -> None:
    """A technician who looks at a lamp hears it; the drawn screen shows which place, as its message."""
    stage.session.begin("coil-control")
    stage.speak_out()
    stage.ready()
    stage.session.take(GearLost(stage.clock.now, "speaker", "it hums"))
    stage.warn = problem
    stage.say(control=Control.SAY_AGAIN)
    stage.speak_out()
    _, lost = [event for event, _ in stage.lines if isinstance(event, GearLost)]
    assert (gear, str(problem)) == (lost.gear, lost.why)
    assert spoken in stage.text.getvalue()
    boards = [action.board for _, actions in stage.lines for action in actions if isinstance(action, Show)]
    assert str(problem) in [board.message for board in boards]


def test_a_session_that_is_left_closes_before_anything_that_waits(stage: Stage) -> None:
    """A hundred keys that were posted before the signal change nothing any more, and nothing is waited for."""
    stage.session.begin("coil-control")
    for _ in range(100):
        stage.session.press("1")
    stage.session.leave("interrupted")
    stage.session.run()
    assert isinstance(stage.lines[-1][0], Closed)
    assert 2 == len(stage.lines)
    assert stage.session.outcome is not None


def test_a_note_keeps_the_microphone(stage: Stage) -> None:
    """After "voice note" the microphone records until the note has ended."""
    stage.session.begin("coil-control")
    stage.speak_out()
    stage.ready()
    stage.say(control=Control.VOICE_NOTE)
    stage.speak_out()
    assert stage.ears.calls[-1] == "note"


def test_the_session_ends_when_its_last_word_was_spoken(stage: Stage) -> None:
    """Closing waits for "Session closed"; nothing that comes later is taken."""
    stage.session.begin("coil-control")
    stage.speak_out()
    stage.say(control=Control.CLOSE)
    stage.speak_out()
    stage.say(control=Control.CLOSE)
    assert not stage.session.finished
    stage.speak_out()
    assert stage.session.finished
    lines = len(stage.lines)
    stage.session.press("1")
    stage.session.drain()
    assert lines == len(stage.lines)


def test_every_spoken_word_is_in_the_record(stage: Stage) -> None:
    """The screen shows as said exactly what the record holds as said."""
    stage.session.begin("coil-control")
    stage.speak_out()
    stage.ready()
    recorded = [action.text for _, actions in stage.lines for action in actions if isinstance(action, Say)]
    assert len(recorded) == 2
    assert all(text in stage.text.getvalue() for text in recorded)


def test_gear_that_is_lost_or_back_has_the_screen_drawn_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """Text that a dying device may have written across the picture does not stay."""
    stage = Stage(lambda _line: None)
    stage.session.begin("battery-and-cranking")
    drawn: list[str] = []
    monkeypatch.setattr(stage.session._screen, "redraw", lambda: drawn.append("anew"))
    stage.session.take(GearLost(1.0, "microphone", "unplugged"))
    assert ["anew"] == drawn
    stage.session.take(GearBack(2.0, "microphone"))
    assert ["anew", "anew"] == drawn
