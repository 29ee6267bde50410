"""Drivers without sound for every made-up session; only the decision what happens next is made elsewhere.

`RunnerPlayer` drives a dialogue alone and stands for the edges of a session: clock, timers, speech, hearing, notes.
`SessionPlayer` drives a whole session, whose loop keeps these itself, on a clock that jumps.
Neither decides anything; a test, a rehearsal, the lint of speech and the demonstration each do that in their own way.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Protocol

from assistant.core.values.events import (
    Action,
    CancelTimer,
    Clip,
    Event,
    Listen,
    NoteRecorded,
    RecordNote,
    Say,
    SpeechFinished,
    StartTimer,
    StopListening,
    TimerElapsed,
)
from assistant.core.values.result import GrammarRequest

if TYPE_CHECKING:
    from assistant.core.dialogue.runner import Runner
    from assistant.session.loop import Session

NOTE = Clip("clips/0001.flac", "0" * 64, 5.0)
"""The sound of every note that a player records."""


class RunnerPlayer:
    """Gives events to a dialogue and keeps its requests to the edges; time only moves when a caller moves it.

    Args:
        runner: The dialogue.
        shown: Work out the board and the phrases to listen for; a dialogue without them is faster.

    Attributes:
        runner: The dialogue that is driven.
        now: Seconds since the session began.
        said: Everything spoken so far.
        timers: When each timer that runs will elapse, s.
        request: Phrases that the dialogue listens for; empty while it does not listen.
        speaking: Number of the utterance that is being spoken; None in silence.
        noting: A note is being recorded.
    """

    def __init__(self, runner: Runner, *, shown: bool = True) -> None:
        self.runner = runner
        self.now = 0.0
        self.said: list[str] = []
        self.timers: dict[str, float] = {}
        self.request = GrammarRequest()
        self.speaking: int | None = None
        self.noting = False
        self._shown = shown

    def send(self, event: Event) -> tuple[Action, ...]:
        """Give one event to the dialogue and carry out what it answers."""
        actions = self.runner.receive(event) if self._shown else self.runner.recall(event)
        for action in actions:
            self._carry_out(action)
        return actions

    def _carry_out(self, action: Action) -> None:
        match action:
            case Say():
                self.said.append(action.text)
                self.speaking = action.utterance
            case StartTimer():
                self.timers[action.timer] = self.now + action.seconds
            case CancelTimer():
                self.timers.pop(action.timer, None)
            case Listen():
                self.request = action.request
            case StopListening():
                self.request = GrammarRequest()
            case RecordNote():
                self.noting = True
            case _:
                pass

    def finish_speech(self, seconds: float = 0.0, *, cut: bool = False) -> None:
        """Speech ends after this time, by itself or `cut`; without speech nothing happens."""
        if self.speaking is not None:
            utterance, self.speaking = self.speaking, None
            self.now += seconds
            self.send(SpeechFinished(self.now, utterance, cut))

    def finish_note(self, seconds: float = 0.0) -> None:
        """The note ends after this time; without one nothing happens."""
        if self.noting:
            self.noting = False
            self.now += seconds
            self.send(NoteRecorded(self.now, NOTE))

    def next_timer(self) -> tuple[float, str] | None:
        """When the next timer elapses, s, and its name; None while none runs."""
        return min(((at, name) for name, at in self.timers.items()), default=None)

    def elapsed(self, name: str) -> TimerElapsed:
        """The end of a running timer; the clock moves on to it."""
        self.now = max(self.now, self.timers.pop(name))
        return TimerElapsed(self.now, name)


class MadeClock:
    """A clock that jumps to the next event.

    Args:
        real: Wait for real time to catch up.
    """

    def __init__(self, *, real: bool = False) -> None:
        self.now = 0.0
        self._real = real

    def __call__(self) -> float:
        """Seconds since the session began."""
        return self.now

    def reach(self, at: float) -> None:
        """Go on to this moment, at once or in real time; never back."""
        if at > self.now:
            if self._real:
                time.sleep(at - self.now)
            self.now = at


class Edge(Protocol):
    """A stand-in at an edge of a session, with a timetable of its own."""

    @property
    def due(self) -> float | None:
        """When it acts next, s; None if it waits for the session."""

    def tick(self) -> None:
        """Do what is due now."""


class SessionPlayer:
    """Lets time pass in a session: everything happens when it is due.

    Args:
        session: The session; its clock is `clock`, or `clock` rounded.
        clock: The clock that is moved.
        edges: Stand-ins, in the order in which they act when several are due.
    """

    def __init__(self, session: Session, clock: MadeClock, *edges: Edge) -> None:
        self.session = session
        self.clock = clock
        self._edges = edges

    @property
    def idle(self) -> bool:
        """No stand-in has anything to do: only timers of the session can still elapse."""
        return all(edge.due is None for edge in self._edges)

    def next_due(self) -> float | None:
        """When something next happens by itself, s; None if nothing will."""
        times = [*(edge.due for edge in self._edges), self.session.next_due()]
        return min((at for at in times if at is not None), default=None)

    def reach(self, at: float) -> None:
        """Go on to this moment and let happen what is due then; what was posted meanwhile waits for `drain`."""
        self.clock.reach(at)
        for edge in self._edges:
            edge.tick()
        self.session.fire_due()

    def let_pass(self, seconds: float) -> None:
        """Let this time pass, with all that happens in it."""
        end = self.clock.now + seconds
        self.session.drain()
        while (due := self.next_due()) is not None and due <= end:
            self.reach(due + 0.001)  # the session's clock may be rounded
            self.session.drain()
        self.clock.now = end
