"""The one loop: wires a `Runner` to hearing, speaking, keys, record and screen.

Everything that happens at an edge (a key, a phrase, the end of speech, a lost microphone) is posted as a small
call and carried out here, one after the other, on one thread.
Each event goes to the runner; the event and the actions it caused are on the disk before any of the actions is
carried out, so a confirmed result is never lost and nothing is spoken that is not in the record.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from assistant.core.values.events import (
    Action,
    Began,
    CancelTimer,
    Closed,
    CutSpeech,
    EndNote,
    Event,
    Finish,
    GearBack,
    GearLost,
    Heard,
    Interrupted,
    KeyPressed,
    KeySource,
    Listen,
    NoInput,
    NoMatch,
    Note,
    RecordNote,
    Resumed,
    Say,
    Show,
    SpeechFinished,
    StartTimer,
    StopListening,
    TimerElapsed,
)
from assistant.core.values.perceived import MeterState, MeterTold
from assistant.errors import DiskNearlyFull, GearProblem, RecordProblem
from assistant.session.foresight import Foresight
from assistant.session.mouth import Mouth
from assistant.session.silent import NoEars
from assistant.session.waiting import DueTimes, Inbox
from assistant.session.witnessing import NoWatch

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.core.dialogue.runner import Runner
    from assistant.core.values.events import ToldToday, TypedFact
    from assistant.core.values.result import GrammarRequest
    from assistant.core.values.witness import Witness
    from assistant.screen.terminal import Screen
    from assistant.session.witnessing import Watch
    from assistant.speaking.output import Output
    from assistant.speaking.voice import Voice


class Ears(Protocol):
    """The hearing that a session needs; it answers through `Session.post`."""

    def listen(self, request: GrammarRequest) -> None:
        """Hear this from now on; anything half heard before is forgotten."""

    def pause(self) -> None:
        """Hear nothing."""

    def record_note(self, longest_s: float) -> None:
        """Keep free speech as sound."""

    def end_note(self) -> None:
        """End the note now."""

    def close(self) -> None:
        """Give the microphone back."""


class Log(Protocol):
    """The record that a session needs."""

    def append(self, event: Event, actions: tuple[Action, ...]) -> RecordProblem | None:
        """Put an event and its actions on the disk before returning."""


class Session:
    """One session, live or played.

    Args:
        runner: The dialogue.
        log: The record.
        voice: Renders speech.
        output: Plays it.
        screen: Shows the board and the running dialogue.
        now: Seconds since the session began; never goes back.
        headset: The microphone does not hear the loudspeaker, so it listens while the assistant speaks.
    """

    def __init__(
        self,
        *,
        runner: Runner,
        log: Log,
        voice: Voice,
        output: Output,
        screen: Screen,
        now: Callable[[], float],
        headset: bool = False,
    ) -> None:
        self._runner = runner
        self.log = log
        foresight = Foresight(runner, voice) if voice.prepares else None
        self._mouth = Mouth(voice, output, foresight, beside_ears=headset)
        self._screen = screen
        self._now = now
        self.ears: Ears = NoEars()
        self.watch: Watch = NoWatch()
        self.outcome: str | None = None
        self._inbox = Inbox()
        self._waiting = DueTimes()
        self._speaking: int | None = None
        self._wanted: Listen | None = None

    # --- what happens -----------------------------------------------------------------------------

    def begin(
        self,
        procedure: str,
        facts: tuple[TypedFact, ...] = (),
        told: tuple[ToldToday, ...] = (),
        left_out: tuple[str, ...] = (),
        witnesses: tuple[Witness, ...] = (),
    ) -> None:
        """Start with this procedure; arguments as for `Began`."""
        self.take(Began(self._now(), procedure, facts, told, left_out, witnesses))

    def resume(self, left_out: tuple[str, ...] = (), witnesses: tuple[Witness, ...] = ()) -> None:
        """Go on; the runner has been fed with the recorded events before. Arguments as for `Began`."""
        self.take(Resumed(self._now(), left_out, witnesses))

    def post(self, call: Callable[[], None]) -> None:
        """Have this done by the loop; safe from any thread."""
        self._inbox.post(call)

    def press(self, key: str) -> None:
        """A key was pressed; safe from any thread."""
        self.post(lambda: self.take(KeyPressed(self._now(), key)))

    def tap(self, keys: Callable[[], tuple[str, ...]]) -> None:
        """A board was tapped; safe from any thread.

        `keys` is asked when the loop comes to it: the keys that still answer what is shown then.
        """
        self.post(lambda: self._tapped(keys()))

    def happened(self, make: Callable[[float], Event | None]) -> None:
        """An event happened; `make` gets its time, and gives None if it has come too late; safe from any thread."""
        self.post(lambda: self._take_if(make(self._now())))

    def speech_began(self) -> None:
        """Someone is speaking: silence is not to be counted now; safe from any thread."""
        self.post(self._hold_silence)

    def speech_ended(self) -> None:
        """It was nothing: count silence again; safe from any thread."""
        self.post(self._count_silence)

    def tell(self, text: str) -> None:
        """Show a remark that is no part of the dialogue; safe from any thread."""
        self.post(lambda: self._screen.notice(text, self._now()))

    def leave(self, why: str) -> None:
        """Close the session before anything else that waits, and say nothing more; safe from any thread."""
        self._inbox.leave(why)

    def left(self) -> bool:
        """Whether the session is to be left; it is closed then."""
        if self._inbox.leaving is None:
            return False
        self.close(self._inbox.leaving)
        return True

    @property
    def finished(self) -> bool:
        """The dialogue is over and its last word has been spoken."""
        return self.outcome is not None and self._speaking is None

    def next_due(self) -> float | None:
        """When the next timer runs out, in session time."""
        return self._waiting.next_due()

    def fire_due(self) -> None:
        """Let the timers that have run out fire."""
        now, waiting = self._now(), self._waiting
        for name, at in sorted(waiting.timers.items(), key=lambda item: item[1]):
            if at <= now and waiting.timers.get(name) == at:
                del waiting.timers[name]
                self.take(TimerElapsed(now, name))
        if waiting.silence is not None and waiting.silence <= now:
            waiting.silence = None
            self.take(NoInput(now))
        if self.watch.left():
            self.take(MeterTold(now, MeterState.UNSTEADY))

    def drain(self) -> bool:
        """Do everything that was posted; whether there was anything."""
        did = False
        while (call := self._inbox.next(0.0)) is not None:
            call()
            did = True
        return did

    def run(self) -> None:
        """Live: do what is posted and what is due until the session is over or left.

        Raises:
            RecordProblem: The record cannot be written any more; speech is cut, and what was confirmed is safe.
        """
        while not self.finished and not self.left():
            call = self._inbox.next(0.0)
            if call is None and not self.look_ahead():
                due = self.next_due()
                call = self._inbox.next(0.5 if due is None else min(0.5, max(0.0, due - self._now())))
            if call is not None and not self.left():
                call()
            self.fire_due()

    def look_ahead(self) -> bool:
        """While nothing happens: have a little of what may be said next rendered; False if all of it is on its way."""
        return self._mouth.look_ahead()

    def close(self, why: str) -> None:
        """End the session from outside."""
        if self.outcome is None:
            self.take(Closed(self._now(), why))

    def _tapped(self, keys: tuple[str, ...]) -> None:
        for key in keys:
            self.take(KeyPressed(self._now(), key, KeySource.TABLET))

    # --- one event --------------------------------------------------------------------------------

    def take(self, event: Event) -> None:
        """Give an event to the dialogue, put it on the disk with its actions, then act."""
        if self.outcome is not None and not isinstance(event, SpeechFinished):
            return
        if isinstance(event, Heard | KeyPressed) and self.watch.left():
            self.take(MeterTold(event.at, MeterState.UNSTEADY))  # before somebody says "take it"
        actions = self._runner.receive(event)
        try:
            problem = self.log.append(event, actions)
        except RecordProblem:
            self._mouth.cut()
            self.ears.pause()
            raise
        if problem is not None:
            self._tell_of_record(problem, event.at)
        self._tell(event)
        for action in actions:
            self._perform(action)
        self.watch.look(self._runner)
        request = self._wanted.request if self._wanted is not None else None
        self._mouth.moved(event.at, self._speaking, request, self._waiting.timers)

    def _take_if(self, event: Event | None) -> None:
        if event is not None:
            self.take(event)

    def _tell_of_record(self, problem: RecordProblem, at: float) -> None:
        """The record is gear like the others: what is wrong with it is spoken, shown and recorded."""
        self._screen.notice(str(problem), at)
        gear = "disk" if isinstance(problem, DiskNearlyFull) else "record"
        self.happened(lambda now: GearLost(now, gear, str(problem)))

    def _tell(self, event: Event) -> None:
        match event:
            case Heard():
                self._screen.heard(event.words, event.at)
            case NoMatch() | Interrupted():
                self._screen.heard(event.shown, event.at, understood=False)
            case KeyPressed():
                self._screen.key(event.shown, event.at)
            case GearLost() | GearBack():
                self._screen.redraw()  # what is lost may have left its mark on the terminal
            case _:
                pass

    def _perform(self, action: Action) -> None:
        match action:
            case Say():
                self._say(action)
            case CutSpeech():
                self._mouth.cut()
            case Listen():
                self._wanted = action
                self._waiting.silence = None
                if self._mouth.beside_ears or self._speaking is None:
                    self._open_ears()
            case StopListening():
                self._wanted = None
                self._waiting.silence = None
                self.ears.pause()
            case RecordNote():
                self._wanted = None  # the note has the microphone until the dialogue listens again
                self._waiting.silence = None
                self.ears.record_note(action.longest_s)
            case EndNote():
                self.ears.end_note()
            case StartTimer():
                self._waiting.timers[action.timer] = self._now() + action.seconds
            case CancelTimer():
                self._waiting.timers.pop(action.timer, None)
            case Show():
                self._screen.show(action.board, self._now())
            case Finish():
                self.outcome = action.outcome
                self._waiting.clear()
            case Note():
                pass  # it is in the record
            case _:
                raise AssertionError(f"nobody performs {action}")

    def _say(self, action: Say) -> None:
        if not self._mouth.beside_ears:
            self.ears.pause()
        self._waiting.silence = None
        self._speaking = action.utterance
        self._screen.says(action.text, self._now())
        try:
            self._mouth.say(
                action.text, lambda cut: self.post(lambda: self._spoken(action.utterance, cut=cut))
            )
        except GearProblem as problem:
            why = str(problem)
            self.happened(lambda at: GearLost(at, "speaker", why))
            self.post(lambda: self._spoken(action.utterance, cut=False))

    def _spoken(self, utterance: int, *, cut: bool) -> None:
        if self._speaking == utterance:
            self._speaking = None
        self.take(SpeechFinished(self._now(), utterance, cut))
        if self._speaking is None and self.outcome is None:
            self._open_ears()

    def _open_ears(self) -> None:
        """Listen, and count the silence from now on; a headset that listens already is not interrupted."""
        if self._wanted is not None:
            self.ears.listen(self._wanted.request)
            self._count_silence()

    def _hold_silence(self) -> None:
        self._waiting.silence = None

    def _count_silence(self) -> None:
        wanted = self._wanted
        if wanted is not None and wanted.no_input_s is not None and self._speaking is None:
            self._waiting.silence = self._now() + wanted.no_input_s
