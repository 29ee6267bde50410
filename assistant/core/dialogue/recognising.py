"""The meaning of an event in the present state."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.core.dialogue.inquiring import Origin
from assistant.core.dialogue.keying import recognise_key
from assistant.core.dialogue.perceiving import heard_before, recognise_perceived, take_it
from assistant.core.dialogue.policy import answer_kind
from assistant.core.dialogue.sayable import REASONS, SAYABLE
from assistant.core.dialogue.states import State
from assistant.core.dialogue.talk import CRANK_TIMER, REST_TIMER
from assistant.core.dialogue.trail import Pending
from assistant.core.dialogue.triggers import SAID, UNEXPECTED, By, Known, Named, Trigger
from assistant.core.dialogue.understanding import (
    all_spelled,
    is_watching,
    understand_fact,
    understand_result,
    watched,
)
from assistant.core.values.answer_kind import kind_of
from assistant.core.values.events import (
    Began,
    Closed,
    Event,
    GearBack,
    GearLost,
    Heard,
    Interrupted,
    KeyPressed,
    LevelChanged,
    NoInput,
    NoiseChanged,
    NoMatch,
    NoteRecorded,
    Resumed,
    SpeechFinished,
    TimerElapsed,
)
from assistant.core.values.perceived import MeterTold, Perceived, StarterHeard
from assistant.core.values.result import Control

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.core.dialogue.talk import Talk
    from assistant.core.dialogue.triggers import Meaning

_BY_VOICE = By("voice")

_MEANS_HERE = {
    State.ACKNOWLEDGING: {
        Trigger.AFFIRM: Trigger.ACKNOWLEDGE,
        Trigger.GO_AHEAD: Trigger.ACKNOWLEDGE,
    },
    State.CONCLUDING: {Trigger.AFFIRM: Trigger.GO_AHEAD},
    State.CHOOSING: {Trigger.GO_AHEAD: Trigger.DENY},
    State.READING_BACK: {Trigger.NOT_SURE: Trigger.DENY},
}
"""Words with a special meaning in a state."""

_AS_ELSEWHERE: dict[Meaning[By], Meaning[By]] = {}


def recognise(talk: Talk, event: Event) -> Known[Any] | None:
    """The meaning of an event here, with its payload; None if it has none and is ignored."""
    match event:
        case Heard():
            return _heard(talk, event)
        case KeyPressed():
            talk.now.how = event.source.value
            return recognise_key(talk, event.key)
        case SpeechFinished():
            return _finished(talk, event)
        case TimerElapsed():
            return _elapsed(talk, event)
        case NoMatch():
            return Known(Trigger.NO_MATCH, event)
        case Interrupted():
            return None
        case NoInput():
            return Known(Trigger.NO_INPUT, None)
        case NoiseChanged():
            return Known(Trigger.TOO_LOUD if event.hopeless else Trigger.QUIET_AGAIN, event)
        case LevelChanged():
            return Known(Trigger.LEVEL_CHANGED, event)
        case GearLost():
            return Known(Trigger.GEAR_LOST, event)
        case GearBack():
            return Known(Trigger.GEAR_BACK, event)
        case NoteRecorded():
            return Known(Trigger.NOTE_ENDED, event)
        case StarterHeard() | Perceived() | MeterTold():
            return recognise_perceived(talk, event) if talk.work.step else None
        case Began():
            return Known(Trigger.BEGIN, event)
        case Resumed():
            return Known(Trigger.RESUME, event) if talk.work.step else UNEXPECTED
        case Closed():
            return Known(Trigger.END, event)
        case _:
            return UNEXPECTED


def _finished(talk: Talk, event: SpeechFinished) -> Known[Any] | None:
    """The end of speech matters only if something waits for it."""
    if event.utterance != talk.said.utterance:
        return None
    talk.said.finished = event.utterance
    waits = (
        talk.state is State.CAUTIONING
        or (talk.state is State.NOTING and not talk.awaited.note_running)
        or (talk.state is State.RESTING and talk.crank.due)
    )
    return Known(Trigger.SPOKEN, event) if waits else None


def _elapsed(talk: Talk, event: TimerElapsed) -> Known[Any] | None:
    """A timer that was cancelled meanwhile means nothing."""
    timed = talk.state is State.CRANKING or (
        talk.state is State.READING_BACK and talk.crank.began is not None
    )
    if event.timer == CRANK_TIMER and timed:
        return Known(Trigger.CRANK_LIMIT, None)
    if event.timer == REST_TIMER and talk.state is State.RESTING:
        return Known(Trigger.RESTED, None)
    return None


def _heard(talk: Talk, event: Heard) -> Known[Any]:
    """The meaning of spoken words: a word of the dialogue, or an answer to the question."""
    talk.said.heard = event.words
    result = event.result
    if result.control is Control.STOP:
        # A false stop costs a second; a missed one can cost a hand.
        return Known(Trigger.STOP, _BY_VOICE)
    kind = kind_of(result, SAYABLE.get(talk.state, ()))
    if event.confidence < talk.limits.of(kind).taken_from:
        return _unsure(event)
    if result.control is not None:
        meaning = SAID[result.control]
        if meaning is Trigger.TAKE_IT and talk.state in (State.ASKING, State.CRANKING):
            return take_it(talk, _said(event))
        if meaning is Trigger.CRANK_BEGINS and heard_before(talk):
            return Known(Trigger.CRANK_ANNOUNCED, _BY_VOICE)
        if meaning is Trigger.THAT_IS_ALL and talk.state is State.CONFIRMING and talk.asked.open:
            return all_spelled(talk)
        if is_watching(talk) and meaning is Trigger.THAT_IS_ALL:
            return watched(talk, _said(event), event.snr_db)
        if is_watching(talk) and meaning is Trigger.CORRECTION and talk.awaited.changes:
            return Known(Trigger.UNDO_CHANGE, _BY_VOICE)
        return Known(_MEANS_HERE.get(talk.state, _AS_ELSEWHERE).get(meaning, meaning), _BY_VOICE)
    if talk.state is State.RESTING and not talk.limits.paced:
        return UNEXPECTED
    known = _ANSWERS.get(talk.state, _result)(talk, event, _said(event))
    if isinstance(known.payload, Pending) and not _sure_enough(talk, known.payload):
        return _unsure(event)
    return known


def _sure_enough(talk: Talk, pending: Pending) -> bool:
    """Whether an answer was heard well enough for what it leads to."""
    return pending.confidence >= talk.limits.of(answer_kind(talk.step, pending.answer)).taken_from


def _unsure(event: Heard) -> Known[NoMatch]:
    """What was heard too badly counts as not understood."""
    return Known(Trigger.NO_MATCH, NoMatch(event.at, event.words, event.confidence, event.clip, event.snr_db))


def _said(event: Heard) -> Origin:
    return Origin("voice", event.words, event.confidence, event.clip.file if event.clip else None)


def _result(talk: Talk, event: Heard, source: Origin) -> Known[Any]:
    """An answer to the present step; signs are spelled only where a fact is asked for."""
    if event.result.signs is not None:
        return UNEXPECTED
    return understand_result(talk, event.result, source, event.snr_db)


def _reason(talk: Talk, event: Heard, source: Origin) -> Known[Any]:
    """A reason for skipping."""
    outcome = event.result.outcome
    if outcome not in REASONS:
        return _result(talk, event, source)
    return Known(Trigger.REASON, Named(outcome))


def _procedure(talk: Talk, event: Heard, _source: Origin) -> Known[Any]:
    """The name of another test."""
    outcome = event.result.outcome
    if outcome not in talk.library.procedures:
        return UNEXPECTED
    return Known(Trigger.CHOSEN, Named(outcome))


def _fact(talk: Talk, event: Heard, source: Origin) -> Known[Any]:
    """The fact that is asked for."""
    return understand_fact(talk, event.result, source)


_ANSWERS: dict[State, Callable[[Talk, Heard, Origin], Known[Any]]] = {
    State.INQUIRING: _fact,
    State.CONFIRMING: _fact,
    State.SKIPPING: _reason,
    State.CHOOSING: _procedure,
}
"""How an answer is understood in the states that do not ask for the result of a step."""
