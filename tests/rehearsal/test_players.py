"""The drivers of made-up sessions: they keep what the edges would, and nothing happens that nobody sends."""

from __future__ import annotations

import io
from dataclasses import dataclass, field

import pytest
from shipped import shipped_folder

from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.states import State
from assistant.core.values.events import Action, Began, Event, Heard, KeyPressed, NoiseChanged, TimerElapsed
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.errors import RecordProblem
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.player import NOTE, MadeClock, RunnerPlayer, SessionPlayer
from assistant.screen.terminal import LineScreen
from assistant.session.loop import Session
from assistant.session.silent import NoSpeaker, NoVoice

LIBRARY, KNOWLEDGE = shipped_folder()


@pytest.fixture
def player() -> RunnerPlayer:
    """A dialogue that has begun and speaks."""
    made = RunnerPlayer(Runner(LIBRARY, KNOWLEDGE, DEFAULT_THRESHOLDS))
    made.send(Began(0.0, "feed-dead"))
    return made


def ready(player: RunnerPlayer) -> None:
    """Acknowledge all cautions."""
    player.finish_speech(3)
    while player.runner.state is State.ACKNOWLEDGING:
        player.send(Heard(player.now, "ready", Result(control=Control.READY), 0.97))
        player.finish_speech(3)


def test_speech_ends_when_it_is_told_to(player: RunnerPlayer) -> None:
    """Spoken sentences are kept; speech goes on until it is finished, which takes its time once."""
    assert player.said
    assert player.speaking is not None
    player.finish_speech(3)
    assert player.now == 3
    player.finish_speech(3)
    assert (player.now, player.speaking) == (3, None)


def test_what_is_listened_for_is_known(player: RunnerPlayer) -> None:
    """At a question its outcomes are listened for; in hopeless noise only "stop" is."""
    ready(player)
    step = LIBRARY.step(*player.runner.position)
    assert {answer.outcome for answer in step.answers} <= set(player.request.outcomes)
    player.send(NoiseChanged(player.now, -10.0, hopeless=True))
    player.finish_speech(1)
    assert player.request == GrammarRequest(controls=(Control.STOP,))


def test_without_what_is_shown_nothing_is_listened_for() -> None:
    """A dialogue that is only played for its record does not work out what it listens for."""
    player = RunnerPlayer(Runner(LIBRARY, KNOWLEDGE, DEFAULT_THRESHOLDS), shown=False)
    player.send(Began(0.0, "feed-dead"))
    ready(player)
    assert player.runner.state is State.ASKING
    assert player.request == GrammarRequest()


def test_a_note_is_recorded_until_it_is_finished(player: RunnerPlayer) -> None:
    """A voice note begins when the prompt has been spoken, and its sound reaches the dialogue when it ends."""
    ready(player)
    player.send(Heard(player.now, "voice note", Result(control=Control.VOICE_NOTE), 0.97))
    assert not player.noting
    player.finish_speech(1)
    assert player.noting
    before = player.now
    player.finish_note(NOTE.duration_s)
    assert (player.noting, player.now) == (False, before + 5)
    assert player.runner.state is not State.NOTING


def test_the_next_timer_moves_the_clock_on(player: RunnerPlayer) -> None:
    """The timer that is due first comes first; the clock goes on to it and never back; it elapses once."""
    player.timers = {"late": 9.0, "soon": 4.0}
    assert player.next_timer() == (4.0, "soon")
    assert player.elapsed("soon") == TimerElapsed(4.0, "soon")
    player.now = 20.0
    assert player.elapsed("late") == TimerElapsed(20.0, "late")
    assert player.next_timer() is None


def test_a_made_clock_never_goes_back() -> None:
    """An earlier moment than now is one that has passed."""
    clock = MadeClock()
    clock.reach(2.5)
    clock.reach(1.0)
    assert clock() == 2.5


@dataclass
class Record:
    """Keeps the events of a session."""

    events: list[Event] = field(default_factory=list)

    def append(self, event: Event, actions: tuple[Action, ...]) -> RecordProblem | None:
        self.events.append(event)
        return None


@dataclass
class Knock:
    """An edge that presses a key now and then."""

    session: Session
    times: list[float]
    acted: list[float] = field(default_factory=list)

    @property
    def due(self) -> float | None:
        return self.times[0] if self.times else None

    def tick(self) -> None:
        while self.times and self.times[0] <= self.session._now():
            self.acted.append(self.times.pop(0))
            self.session.press("0")


@pytest.fixture
def played() -> tuple[SessionPlayer, Knock, Record]:
    """A session without gear on a made clock, with one edge."""
    clock, record = MadeClock(), Record()
    session = Session(
        runner=Runner(LIBRARY, KNOWLEDGE, DEFAULT_THRESHOLDS),
        log=record,
        voice=NoVoice(),
        output=NoSpeaker(),
        screen=LineScreen(io.StringIO()),
        now=lambda: round(clock.now, 3),
    )
    knock = Knock(session, [5.0, 7.0, 40.0])
    session.begin("feed-dead")
    return SessionPlayer(session, clock, knock), knock, record


def test_time_passes_with_all_that_happens_in_it(played: tuple[SessionPlayer, Knock, Record]) -> None:
    """Edges act when they are due, what they post is carried out, and the clock stands at the end of the time."""
    player, knock, record = played
    player.let_pass(10.0)
    assert knock.acted == [5.0, 7.0]
    pressed = [event.at for event in record.events if isinstance(event, KeyPressed)]
    assert pressed == pytest.approx([5.0, 7.0], abs=0.01)
    assert player.clock() == 10.0


def test_an_idle_session_has_only_timers_left(played: tuple[SessionPlayer, Knock, Record]) -> None:
    """When no edge has anything to do, the session is idle, though a timer of its own may still be due."""
    player, _, _ = played
    assert not player.idle
    player.let_pass(41.0)
    assert player.idle
    due = player.next_due()
    assert due is None or due > 41.0
