"""What may be said next is found and rendered before it happens."""

from __future__ import annotations

import io
from collections.abc import Iterable
from concurrent.futures import Future

import numpy as np
from shipped import shipped_folder

from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.states import State
from assistant.core.values.events import Action, Event, Heard, Say
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.exploring import example
from assistant.screen.terminal import LineScreen
from assistant.session.foresight import Foresight
from assistant.session.loop import Session
from assistant.session.silent import NoEars, NoVoice
from assistant.speaking.output import NullPlayer
from assistant.speaking.speech import SpokenSound
from assistant.speaking.voice import Voice

LIBRARY, KNOWLEDGE = shipped_folder()


class Asked(Voice):
    """Renders silence, and remembers what it was asked to have ready."""

    def __init__(self) -> None:
        self.ready: list[str] = []

    def render(self, text: str) -> SpokenSound:
        return SpokenSound(np.zeros(800, np.int16), 8000, text)

    def prepare(self, texts: Iterable[str]) -> Future[bool]:
        self.ready = list(texts)
        return Future()


class Room:
    """A session on a made clock; `answer` lets speech end before it is given."""

    def __init__(self, procedure: str = "coil-control", voice: Voice | None = None) -> None:
        self.now = 0.0
        self.voice = Asked()
        self.said: list[str] = []
        self.runner = Runner(LIBRARY, KNOWLEDGE, DEFAULT_THRESHOLDS)
        self.player = NullPlayer(lambda: self.now)
        self.session = Session(
            runner=self.runner,
            log=self,
            voice=voice or self.voice,
            output=self.player,
            screen=LineScreen(io.StringIO()),
            now=lambda: self.now,
        )
        self.session.ears = NoEars()
        self.session.begin(procedure)

    def append(self, event: Event, actions: tuple[Action, ...]) -> None:
        self.said += [action.text for action in actions if isinstance(action, Say)]

    def look(self) -> None:
        """Look as far ahead as there is anything to see."""
        while self.session.look_ahead():
            pass

    def speak_out(self) -> None:
        while self.player.due is not None:
            self.now = self.player.due
            self.player.tick()
            self.session.drain()

    def answer(self, result: Result) -> str:
        """What is said to this answer; it was seen before it was given, unless it is a number."""
        self.speak_out()
        self.look()
        ready, before = list(self.voice.ready), len(self.said)
        self.now += 1
        self.session.take(Heard(self.now, "words", result, 0.97))
        assert len(self.said) == before + 1
        assert self.said[-1] in ready or result.value is not None
        return self.said[-1]


def control(word: Control) -> Result:
    """A word of the dialogue as it is heard."""
    return Result(control=word)


def test_everything_that_an_answer_leads_to_is_ready() -> None:
    """Cautions, answers, read-backs, the next step, "say again", "why" and "choices": each was rendered ahead."""
    room = Room()
    assert room.runner.state is State.CAUTIONING
    room.speak_out()
    assert room.answer(control(Control.READY))
    seen = {room.answer(control(word)) for word in (Control.SAY_AGAIN, Control.WHY, Control.CHOICES)}
    assert len(seen) == 3
    for _ in range(9):
        room.speak_out()
        state = room.runner.state
        if state is State.ASKING:
            step = room.runner.step
            first = step.choices()[0]
            room.answer(Result(first.outcome) if step.reading is None else Result(value=example(step, first)))
        elif state in (State.READING_BACK, State.CONFIRMING):
            room.answer(control(Control.AFFIRM))
        elif state is State.ACKNOWLEDGING:
            room.answer(control(Control.READY))
        else:
            break
    assert len(room.said) > 6


def test_what_follows_a_caution_is_ready_while_it_is_spoken() -> None:
    """The end of speech is an event like others: the words after it are rendered while the ones before it sound."""
    room = Room()
    assert room.runner.state is State.CAUTIONING
    room.look()
    room.speak_out()
    room.session.take(Heard(room.now, "ready", control(Control.READY), 0.97))
    assert room.said[-1] in room.voice.ready


def test_when_the_step_moves_on_the_old_is_forgotten() -> None:
    """After each event only what may follow from there is asked for."""
    room = Room()
    room.look()
    before = list(room.voice.ready)
    room.answer(control(Control.READY))
    room.speak_out()
    room.look()
    assert before
    assert set(room.voice.ready) != set(before)
    assert len(room.voice.ready) == len(set(room.voice.ready))


def test_looking_ahead_moves_nothing() -> None:
    """The session is the same whether somebody looked ahead or not."""
    one, other = Room(), Room()
    for _ in range(4):
        one.speak_out()
        other.speak_out()
        one.look()
        event = Heard(one.now, "words", control(Control.READY), 0.97)
        one.session.take(event)
        other.session.take(event)
    assert one.said == other.said
    assert one.runner.state is other.runner.state


def test_without_a_loudspeaker_nothing_is_looked_for() -> None:
    """A silent session renders nothing, ahead or now."""
    room = Room(voice=NoVoice())
    assert not room.session.look_ahead()


def test_a_dialogue_that_fails_is_not_found_out_ahead() -> None:
    """What goes wrong in a look ahead must not end the session: it is told when it happens."""

    class Broken(Runner):
        def twin(self) -> Runner:
            raise AssertionError("a defect")

    foresight = Foresight(Broken(LIBRARY, KNOWLEDGE, DEFAULT_THRESHOLDS), Asked())
    foresight.moved(0.0, None, GrammarRequest(), ())
    assert not foresight.look()
    assert not foresight.look()
