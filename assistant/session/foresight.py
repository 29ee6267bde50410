"""Renders what can be said next while the technician is at work, so that the answer to an answer comes at once.

A second dialogue (`Runner.twin`) is given each thing that may happen now, and what it says is rendered in the
background. It looks only one event ahead, because after that event there is time again: a read-back is being spoken
while the step after its "yes" is rendered, a caution while the question after it is.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.core.dialogue.states import State
from assistant.core.library.procedure import Band
from assistant.core.values.events import (
    Event,
    Heard,
    Listen,
    NoInput,
    NoMatch,
    Say,
    SpeechFinished,
    TimerElapsed,
)
from assistant.core.values.result import Control, GrammarRequest, Result

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from assistant.core.dialogue.runner import Runner
    from assistant.speaking.voice import Voice

_SURE = 0.97
"""Confidence of an answer that is clearly understood."""

_MOST_UTTERANCES = 3
"""So many utterances in a row are followed to their end: cautions in groups, and the question after them."""

_OFTEN = (
    Control.READY,
    Control.AFFIRM,
    Control.GO_AHEAD,
    Control.CRANKING,
    Control.NEGATIVE,
    Control.NOT_SURE,
    Control.SAY_AGAIN,
    Control.CHOICES,
    Control.STOP,
)
"""Words of the dialogue that are rendered before the others, the likeliest first."""


class Foresight:
    """Looks ahead in one session, a little at a time, and has what it finds rendered.

    Args:
        runner: The dialogue.
        voice: Renders.
    """

    def __init__(self, runner: Runner, voice: Voice) -> None:
        self._runner = runner
        self._voice = voice
        self._looking: Iterator[str] = iter(())
        self._found: list[str] = []

    def moved(
        self, now: float, speaking: int | None, request: GrammarRequest | None, timers: Iterable[str]
    ) -> None:
        """Something happened: forget what was found, and look from here.

        Args:
            now: Seconds since the session began.
            speaking: Number of the utterance that is being spoken; None in silence.
            request: What is listened for; None for nothing.
            timers: Names of the dialogue's timers that run, the next one first.
        """
        self._found = []
        self._looking = _ahead(self._runner, now, speaking, request, tuple(timers))

    def look(self) -> bool:
        """Follow one thing that may happen, some milliseconds; False if nothing is left to follow."""
        try:
            text = next(self._looking, None)
        except Exception:  # noqa: BLE001  what the dialogue cannot do is told when it happens, not before
            text = None
        if text is None:
            self._looking = iter(())
            return False
        if text and text not in self._found:
            self._found.append(text)
            self._voice.prepare(self._found)
        return True


def _ahead(
    runner: Runner, now: float, speaking: int | None, request: GrammarRequest | None, timers: tuple[str, ...]
) -> Iterator[str]:
    """What the dialogue may say next, "" where something makes it say nothing."""
    here = runner.twin()
    for _ in range(_MOST_UTTERANCES):
        if speaking is None:
            break
        actions = here.receive(SpeechFinished(now, speaking, cut=False))
        said = [action for action in actions if isinstance(action, Say)]
        request = next((action.request for action in actions if isinstance(action, Listen)), request)
        speaking = said[-1].utterance if said else None
        yield said[-1].text if said else ""
    for event in _events(here, now, request or GrammarRequest(), timers):
        if here.state is State.FINISHED:
            return
        said = [action for action in here.twin().recall(event) if isinstance(action, Say)]
        yield said[-1].text if said else ""


def _events(here: Runner, now: float, request: GrammarRequest, timers: tuple[str, ...]) -> Iterator[Event]:
    """What may happen now, the likeliest first."""
    for name in request.outcomes:
        yield Heard(now, name, Result(name), _SURE)
    controls = sorted(request.controls, key=lambda one: _OFTEN.index(one) if one in _OFTEN else len(_OFTEN))
    often = [control for control in controls if control in _OFTEN]
    for control in often:
        yield Heard(now, control.value, Result(control=control), _SURE)
    for timer in timers:
        yield TimerElapsed(now, timer)
    yield NoMatch(now, "", 0.2)
    yield NoInput(now)
    for control in controls[len(often) :]:
        yield Heard(now, control.value, Result(control=control), _SURE)
    if request.units and here.state in (State.ASKING, State.CRANKING):
        yield from _readings(here, now)


def _readings(here: Runner, now: float) -> Iterator[Event]:
    """A number in each band of the reading: its own read-back will be another, but not what follows from it."""
    for answer in here.step.choices():
        if isinstance(answer, Band):
            low, high = (bound if isinstance(bound, Decimal) else None for bound in (answer.low, answer.high))
            value = low if low is not None else high / 2 if high is not None else None
            if value is not None:
                yield Heard(now, str(value), Result(value=value), _SURE)
