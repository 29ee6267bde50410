"""A dialogue led through everything that can happen to it, so that it says everything it can say."""

from __future__ import annotations

from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING

from assistant.core.dialogue import missing
from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.states import State
from assistant.core.library.procedure import Engine
from assistant.core.values.events import (
    Action,
    Began,
    Event,
    GearBack,
    GearLost,
    Heard,
    KeyPressed,
    LevelChanged,
    NoInput,
    NoiseChanged,
    NoMatch,
)
from assistant.core.values.result import Control, Result
from assistant.core.words.sentences import sentences
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.player import RunnerPlayer

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Answer, Step
    from assistant.core.reasoning.knowledge import Knowledge

_KEYS = (*"1234567890", "enter", "minus", "plus", "point", "star", "slash", "erase")


_SPELLED = ("47", "1J9R", "P1A36A1644345", "IO")
"""Signs to spell: a few, the beginning and end of a VIN with a fitting check digit, letters that no VIN has."""

_NUMBERS = (Decimal(3), Decimal("0.2"), Decimal(9999))

SPEECH_S = 3
NOTE_S = 5


def example(step: Step, answer: Answer) -> Decimal:
    """A number that this band of a reading holds, with no more digits than a meter shows."""
    assert step.reading is not None  # noqa: S101
    low, high = step.reading.plausible
    below = getattr(answer, "high", None)
    above = getattr(answer, "low", None)
    bottom = above if isinstance(above, Decimal) else low
    top = below if isinstance(below, Decimal) else min(high, bottom + 3)
    return ((bottom + top) / 2).quantize(
        Decimal("0.1") if top - bottom > 1 else Decimal("0.01")
    ).normalize() + 0


class Explorer(RunnerPlayer):
    """Leads one dialogue through everything that can happen to it, the rarest first.

    Args:
        library: The procedures.
        knowledge: Weighs the results; None if nothing is weighed.
        procedure: Name of the first procedure.
        tried: How often each thing has happened at each place; shared by all explorers, and counted on.
    """

    def __init__(
        self, library: Library, knowledge: Knowledge | None, procedure: str, tried: dict[tuple[str, ...], int]
    ) -> None:
        super().__init__(Runner(library, knowledge, DEFAULT_THRESHOLDS))
        self._library = library
        self._tried = tried
        self._lost: list[str] = []
        self.send(Began(0.0, procedure))

    def send(self, event: Event) -> tuple[Action, ...]:
        """Give the dialogue an event; speech and notes end by themselves."""
        actions = super().send(event)
        self.finish_speech(SPEECH_S)
        self.finish_note(NOTE_S)
        return actions

    def play(self, turns: int) -> None:
        """Let so many things happen, unless the session ends before."""
        for _ in range(turns):
            if self.runner.state is State.FINISHED:
                return
            self.now += 2
            here = (*self.runner.position, self.runner.state.value)
            label, make = min(self._possible(), key=lambda one: self._tried.get((*here, one[0]), 0))
            self._tried[(*here, label)] = self._tried.get((*here, label), 0) + 1
            self.send(make())

    def _possible(self) -> list[tuple[str, Callable[[], Event]]]:
        """The events that are possible now, each with a name; results first, so that the dialogue moves on."""
        now, request = self.now, self.request

        def heard(result: Result, words: str, confidence: float = 0.999) -> Callable[[], Event]:
            return lambda: Heard(now, words, result, confidence)

        found: list[tuple[str, Callable[[], Event]]] = []
        found += [(name, heard(Result(name), name)) for name in request.outcomes]
        if request.spelling:
            found += [(f"signs {signs}", heard(Result(signs=signs), signs)) for signs in _SPELLED]
        fact = self.runner.state in (State.INQUIRING, State.CONFIRMING)
        if request.counting or (request.units and fact):
            found += [(f"number {value}", heard(Result(value=value), str(value))) for value in _NUMBERS]
        elif request.units:
            step = self.runner.step
            for answer in step.choices():
                value = example(step, answer)
                found.append((answer.outcome, heard(Result(value=value), str(value))))
            if step.reading is not None:
                # If the highest believable number is too long to say, nothing beyond it is said.
                beyond = min(step.reading.plausible[1] * 2, Decimal(9999))
                found.append(("beyond", heard(Result(value=beyond), str(beyond))))
        if request.outcomes and request.places:
            place = "feed" if self.runner.position[1] != "feed" else "relay"
            found.append(("elsewhere", heard(Result(request.outcomes[0], place=place), "elsewhere")))
            found.append(("doubtful", heard(Result(request.outcomes[0]), "doubtful", 0.8)))
        found += [(control, heard(Result(control=control), control)) for control in request.controls]
        if self.timers:
            found.append(("timer", self._timer))
        found += [
            ("good level", lambda: LevelChanged(now, "", "as it should be")),
            ("bad level", self._bad_level),  # said with the next words
            ("no match", lambda: NoMatch(now, "", 0.2)),
            ("no input", lambda: NoInput(now)),
            ("loud", lambda: NoiseChanged(now, -20.0, hopeless=True)),
            ("quiet", lambda: NoiseChanged(now, -60.0, hopeless=False)),
            ("gear", self._gear),
        ]
        found += [(f"key {key}", partial(KeyPressed, now, key)) for key in _KEYS]
        return found

    def good(self) -> bool:
        """Let what goes well happen; False if nothing more can."""
        self.now += 2
        now, state = self.now, self.runner.state
        if state is State.ACKNOWLEDGING:
            self.send(Heard(now, "ready", Result(control=Control.READY), 0.999))
        elif state is State.INQUIRING:
            self.send(Heard(now, "leave blank", Result(control=Control.LEAVE_BLANK), 0.999))
        elif state in (State.READING_BACK, State.CONFIRMING):
            self.send(Heard(now, "affirm", Result(control=Control.AFFIRM), 0.999))
        elif state is State.ASKING:
            step = self.runner.step
            if step.measure.engine is Engine.CRANKING:
                return False
            answer = step.answer(step.good or "") or step.choices()[0]
            value = None if step.reading is None else example(step, answer)
            result = Result(answer.outcome) if value is None else Result(value=value)
            self.send(Heard(now, "good", result, 0.999))
        elif state is State.CONCLUDING:
            before = self.runner.position
            self.send(Heard(now, "go ahead", Result(control=Control.GO_AHEAD), 0.999))
            return self.runner.position != before
        else:
            return False
        return True

    def _timer(self) -> Event:
        """The timer that elapses next."""
        return self.elapsed(min(self.timers, key=self.timers.__getitem__))

    def _bad_level(self) -> Event:
        """Another trouble at each place, so that each is said somewhere."""
        troubles = tuple(missing.LEVELS)
        return LevelChanged(self.now, troubles[len(self._tried) % len(troubles)], "not as it should be")

    def _gear(self) -> Event:
        """A microphone that is lost comes back the next time."""
        if self._lost:
            return GearBack(self.now, self._lost.pop())
        self._lost.append("microphone")
        return GearLost(self.now, "microphone", "unplugged")


def said_in_play(
    library: Library, knowledge: Knowledge | None, procedure: str, turns: int = 1500
) -> list[str]:
    """Everything that the dialogue says while all that can happen happens; the same for the same library.

    Args:
        library: The procedures.
        knowledge: Weighs the results; None if nothing is weighed.
        procedure: Name of the first procedure.
        turns: Number of events, over as many sessions as they need.
    """
    tried: dict[tuple[str, ...], int] = {}
    said: dict[str, None] = {}
    done = 0
    while done < turns:
        explorer = Explorer(library, knowledge, procedure, tried)
        explorer.play(60)
        done = sum(tried.values())
        said.update(dict.fromkeys(part for text in explorer.said for part in sentences(text)))
    return list(said)
