"""A runner without sound, for tests and for trying a procedure: say a result and read the answer.

`Dialogue` plays the edges of the system on its own clock, which moves only when a caller moves it, so a test of a
dialogue needs no audio and never sleeps.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.states import State
from assistant.core.values.events import Action, Began, Event, Heard, KeyPressed, Note, TypedFact
from assistant.core.values.result import Control, Result
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.player import RunnerPlayer

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.core.reasoning.scales import Memo
    from assistant.core.values.entries import Entry
    from assistant.core.values.thresholds import Thresholds


class Dialogue(RunnerPlayer):
    """Drives a `Runner`: speech takes `speech_s` seconds and always ends by itself; timers run on a made clock.

    Results are weighed only if `knowledge` is given.
    Many sessions are played faster with one `memo` for all of them, and without what is listened for and shown.

    Attributes:
        entries: Everything entered into the record so far.
        events: Every event so far, so that they can be replayed.
        actions: The actions of each event.
    """

    def __init__(
        self,
        library: Library,
        thresholds: Thresholds = DEFAULT_THRESHOLDS,
        speech_s: float = 3.0,
        *,
        knowledge: Knowledge | None = None,
        memo: Memo | None = None,
        shown: bool = True,
    ) -> None:
        super().__init__(Runner(library, knowledge, thresholds, memo), shown=shown)
        self.entries: list[Entry] = []
        self.events: list[Event] = []
        self.actions: list[tuple[Action, ...]] = []
        self._speech_s = speech_s

    @property
    def last(self) -> str:
        """The latest spoken text."""
        return self.said[-1] if self.said else ""

    def send(self, event: Event) -> tuple[Action, ...]:
        """Give one event to the runner, and keep what it answers; a note takes 5 s and ends by itself."""
        actions = super().send(event)
        self.events.append(event)
        self.actions.append(actions)
        self.entries += [action.entry for action in actions if isinstance(action, Note)]
        self.finish_note(5)
        return actions

    def listen(self) -> None:
        """Let the speech that is being spoken come to its end."""
        while self.speaking is not None:
            self.finish_speech(self._speech_s)

    def begin(self, procedure: str, facts: tuple[TypedFact, ...] = ()) -> None:
        """Start a procedure, perhaps with facts that were typed before, and let the first words be spoken."""
        self.send(Began(self.now, procedure, facts))
        self.listen()

    def wait(self, seconds: float) -> None:
        """Let time pass; timers that run out on the way fire."""
        end = self.now + seconds
        while (due := self.next_timer()) is not None and due[0] <= end:
            self.send(self.elapsed(due[1]))
            self.listen()
        self.now = max(self.now, end)

    def hear(
        self,
        outcome: str | None = None,
        *,
        value: str | None = None,
        unit: str | None = None,
        control: Control | None = None,
        place: str | None = None,
        signs: str | None = None,
        confidence: float = 0.999,
    ) -> None:
        """The person says this, and listens to the answer."""
        self.now += 2
        result = Result(outcome, Decimal(value) if value else None, unit, control, place, signs)
        words = " ".join(filter(None, (place, outcome, value, unit, control, signs)))
        self.send(Heard(self.now, words, result, confidence))
        self.listen()

    def key(self, *keys: str) -> None:
        """The person presses these keys, and listens to the answer."""
        for key in keys:
            self.now += 0.5
            self.send(KeyPressed(self.now, key))
            self.listen()

    def ready(self) -> None:
        """Acknowledge all cautions that wait for it."""
        while self.runner.state is State.ACKNOWLEDGING:
            self.hear(control=Control.READY)

    def rested(self) -> None:
        """Let the starter rest as long as it needs."""
        self.wait(75)
