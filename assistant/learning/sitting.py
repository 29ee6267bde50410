"""A lesson on real sound: speaks each word, hears it, obeys the keys, and ends in good order whatever happens."""

from __future__ import annotations

import queue
import sys
import threading
import time
from contextlib import ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from assistant.core.values.events import Clip, Event, GearBack, GearLost, Heard, Interrupted, NoMatch
from assistant.errors import GearProblem
from assistant.hearing.ear import Ear, Make, Reports
from assistant.hearing.listener import Listener
from assistant.keys.pad import NumberPad
from assistant.learning.prompts import ASKED
from assistant.record.header import SpokenBy
from assistant.screen.terminal import LineScreen
from assistant.session.edges import GearNews, open_gear, open_voice
from assistant.session.telephone import tell_of_telephones

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.grammar.grammar_set import GrammarSet
    from assistant.hearing.recogniser import Recogniser
    from assistant.hearing.sound import Samples
    from assistant.learning.lesson import Lesson
    from assistant.session.ending import Ending
    from assistant.session.settings import Gear
    from assistant.speaking.output import Output
    from assistant.speaking.voice import Voice

SILENCE_S = 8.0
"""Silence after which a word is asked again; after a second one it is left out."""

AGAIN, SKIP, STOP = ("0", "enter"), "plus", "stop"
"""Keys: say the word again, leave it out, end the lesson; those of a session."""

EXPLAINED = (
    "Repeat each word after the assistant, the way you talk in the bay and with its noise. It takes three minutes.",
    "Half of the words teach. The others only check whether that helped.",
    "Keys: 0 or Enter: again, +: skip, Escape or the space bar: stop. The word 'stop' ends it too; it also comes last.",
    "However the lesson ends, what was said so far counts.",
)
"""The first lines of a lesson."""

_Sound: TypeAlias = "queue.SimpleQueue[Samples]"


@dataclass(frozen=True)
class _Key:
    """A key was pressed."""

    name: str


@dataclass(frozen=True)
class _Leave:
    """The lesson is to end: a signal came, or the terminal is gone."""


class Sitting:
    """A lesson with a voice, a loudspeaker, an ear, keys and lines on the screen.

    Args:
        lesson: The course.
        voice: The assistant's voice.
        output: The loudspeaker.
        screen: Shows what is said and heard.
        now: Seconds since the lesson began.
    """

    def __init__(
        self, lesson: Lesson, voice: Voice, output: Output, screen: LineScreen, now: Callable[[], float]
    ) -> None:
        self._lesson = lesson
        self._voice = voice
        self._output = output
        self._screen = screen
        self._now = now
        self._came: queue.SimpleQueue[Event | _Key | _Leave] = queue.SimpleQueue()
        self._sounds: _Sound = queue.SimpleQueue()
        self._lost = False
        self._leaving = threading.Event()
        self.ears: Listener | None = None

    # --- from other threads ---

    def happened(self, make: Make) -> None:
        """The ear heard something, or the microphone is lost."""
        self._came.put(make(self._now()))

    def keep(self, samples: Samples) -> Clip:
        """Hold a sound in memory; it is on no disk."""
        self._sounds.put(samples.copy())
        return Clip("", "", samples.size / 16000)

    def press(self, key: str) -> None:
        """A key."""
        self._came.put(_Key(key))
        if key == STOP:
            self._output.cut()

    def leave(self) -> None:
        """End the lesson; what was said so far counts."""
        self._leaving.set()
        self._came.put(_Leave())
        self._output.cut()

    def tell(self, text: str) -> None:
        """Show a remark."""
        self._screen.notice(text, self._now())

    # --- the course ---

    def run(self) -> None:
        """Until the lesson is over."""
        for text in EXPLAINED:
            self._screen.notice(text, self._now())
        silences = 0
        while (prompt := self._lesson.prompt) is not None:
            silences = 0 if self._ask() else silences + 1
            if silences == 2 and self._lost:
                self._lesson.stop()
            elif silences == 2:
                self._screen.notice(f"Nothing heard: '{prompt.words}' is left out.", self._now())
                self._lesson.go_on()
                silences = 0

    def _ask(self) -> bool:
        """Ask for a word once; whether something came of it (False after a silence)."""
        prompt = self._lesson.prompt
        if prompt is None or self._leaving.is_set():
            self._lesson.stop()
            return True
        number, of = self._lesson.position
        half = "teaches" if prompt.teaches else "checks"
        asked = ASKED.format(prompt.words)
        self._screen.says(f"{asked}  ({number} of {of}, {half})", self._now())
        self._say(asked)
        while not self._came.empty():  # a key while the assistant spoke
            if self._took(self._came.get()):
                return True
        if self.ears is not None:
            self.ears.listen(prompt.request)
        came = self._wait()
        if self.ears is not None:
            self.ears.pause()
        return came

    def _wait(self) -> bool:
        """Wait for something that is obeyed; False after a silence."""
        until = time.monotonic() + SILENCE_S
        while (left := until - time.monotonic()) > 0:
            try:
                came = self._came.get(timeout=left)
            except queue.Empty:
                return False
            if self._took(came):
                return True
        return False

    def _took(self, came: Event | _Key | _Leave) -> bool:
        """Obey what came; whether the waiting is over."""
        match came:
            case _Leave():
                self._lesson.stop()
            case _Key():
                return self._obey(came.name)
            case GearLost():
                self._screen.notice(came.why, self._now())
                self._lost = True
                return False
            case GearBack():
                self._lost = False
                return True
            case Heard() | NoMatch():
                self._hear(came)
            case Interrupted():
                self._sounds.get()  # it was put there before; nobody asked for it
                return False
            case _:
                return False
        return True

    def _obey(self, key: str) -> bool:
        if key == STOP:
            self._lesson.stop()
        elif key == SKIP:
            self._lesson.go_on()
        return key in (STOP, SKIP, *AGAIN)

    def _hear(self, came: Heard | NoMatch) -> None:
        try:
            sound = self._sounds.get(timeout=1.0)
        except queue.Empty:
            sound = np.zeros(0, np.int16)
        result = came.result if isinstance(came, Heard) else None
        take = self._lesson.heard(came.words, result, sound, accepted=isinstance(came, Heard))
        shown = came.words if isinstance(came, Heard) else came.shown
        self._screen.heard(shown, self._now(), understood=take is None or take.right)

    def _say(self, text: str) -> None:
        """Speak and wait for the end; without a loudspeaker the line on the screen must do."""
        ended: queue.SimpleQueue[bool] = queue.SimpleQueue()
        try:
            self._output.play(self._voice.render(text), ended.put)
            if self._leaving.is_set():  # it came while the word was rendered
                self._output.cut()
            ended.get(timeout=10.0)
        except (GearProblem, queue.Empty):
            return


def sit(lesson: Lesson, recogniser: Recogniser, grammars: GrammarSet, gear: Gear, ending: Ending) -> None:
    """Hold a lesson with the gear of the machine, and give all of it back.

    Args:
        lesson: The course; it holds the takes afterwards, however it ended.
        recogniser: Hears.
        grammars: With own words.
        gear: Microphone, loudspeaker and voice.
        ending: Tells of signals; it has begun.

    Raises:
        GearProblem: Microphone, loudspeaker or keys cannot be used.
    """
    with ExitStack() as closing:
        output, microphone = open_gear(gear, GearNews(keys_only=False), closing)
        voice = open_voice(gear, SpokenBy())
        begun = time.monotonic()
        screen = LineScreen(sys.stdout)
        sitting = Sitting(lesson, voice, output, screen, lambda: time.monotonic() - begun)
        ending.tell(sitting.leave)
        if microphone is not None:
            ear = Ear(recogniser, grammars.request, Reports(sitting.happened, sitting.keep))
            sitting.ears = Listener(ear, microphone, sitting.happened)
            closing.callback(sitting.ears.close)
        pad = NumberPad(sys.stdin.fileno(), sitting.press, lambda _why: sitting.leave())
        closing.callback(pad.close)
        tell_of_telephones(gear, sitting.tell, closing)
        sitting.run()
