"""The meanings that an event can have for the dialogue, their payloads, and the words that say them.

A new word of the dialogue is a line in `values.result.Control`, perhaps with a key, a cell in the table of states,
and a line in `grammars/control.jsgf`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from assistant.core.dialogue.inquiring import Origin, Waiting
from assistant.core.dialogue.trail import Pending
from assistant.core.values.events import (
    Began,
    Closed,
    GearBack,
    GearLost,
    LevelChanged,
    NoiseChanged,
    NoMatch,
    NoteRecorded,
    Resumed,
    SpeechFinished,
)
from assistant.core.values.perceived import MeterTold, Perceived, StarterHeard
from assistant.core.values.result import Control

_Carried = TypeVar("_Carried")


@dataclass(frozen=True)
class By:
    """A word or key of the dialogue: `how` is ``voice``, ``keypad``, ``tablet``, or the key that tells it apart."""

    how: str


@dataclass(frozen=True)
class Named:
    """The name of what was chosen: a place, a reason for skipping, a procedure, or a key."""

    name: str


@dataclass(frozen=True)
class Worded:
    """Words that were understood but cannot count."""

    text: str


@dataclass(frozen=True)
class ChangeTold:
    """What a lamp or a meter shows now, in a step that is watched."""

    outcome: str
    source: Origin


@dataclass(frozen=True)
class Signs:
    """Letters and digits that were spelled in one breath."""

    signs: str
    source: Origin


@dataclass(frozen=True, eq=False)
class Meaning(Generic[_Carried]):
    """One thing that an event can mean; the type says what it carries.

    Attributes:
        value: Its name in the record and in the diagram.
        said: The word of the dialogue that says it, perhaps with a key; None if none does.
    """

    value: str
    said: Control | None = None

    def __str__(self) -> str:
        return self.value


@dataclass(frozen=True, slots=True)
class Known(Generic[_Carried]):
    """The meaning of an event here, with its payload."""

    trigger: Meaning[_Carried]
    payload: _Carried


class Trigger:
    """All meanings."""

    BEGIN = Meaning[Began]("begin")
    RESUME = Meaning[Resumed]("resume")
    SPOKEN = Meaning[SpeechFinished]("spoken")
    ACKNOWLEDGE = Meaning[By]("acknowledge", Control.READY)
    RESULT = Meaning[Pending]("result")
    WRONG_PLACE = Meaning[Named]("wrong place")
    NO_ANSWER = Meaning[Worded]("no answer here")
    IMPLAUSIBLE = Meaning[Worded]("implausible")
    CHANGE = Meaning[ChangeTold]("change")
    UNDO_CHANGE = Meaning[By]("undo change")
    NO_MATCH = Meaning[NoMatch]("no match")
    NO_INPUT = Meaning[None]("no input")
    AFFIRM = Meaning[By]("affirm", Control.AFFIRM)
    DENY = Meaning[By]("deny", Control.NEGATIVE)
    CORRECTION = Meaning[By]("correction", Control.CORRECTION)
    SAY_AGAIN = Meaning[By]("say again", Control.SAY_AGAIN)
    CHOICES = Meaning[By]("choices", Control.CHOICES)
    NOT_SURE = Meaning[By]("not sure", Control.NOT_SURE)
    STAND_BY = Meaning[By]("stand by", Control.STAND_BY)
    GO_AHEAD = Meaning[By]("go ahead", Control.GO_AHEAD)
    STOP = Meaning[By]("stop", Control.STOP)
    NOTE = Meaning[By]("voice note", Control.VOICE_NOTE)
    NOTE_ENDED = Meaning[NoteRecorded]("note ended")
    END_NOTE = Meaning[By]("end note")
    SKIP = Meaning[By]("skip", Control.SKIP)
    REASON = Meaning[Named]("reason")
    CRANK_BEGINS = Meaning[By]("crank begins", Control.CRANKING)
    CRANK_LIMIT = Meaning[None]("crank limit")
    RESTED = Meaning[None]("rested")
    TYPED = Meaning[Named]("typed")
    TOO_LOUD = Meaning[NoiseChanged]("too loud")
    QUIET_AGAIN = Meaning[NoiseChanged]("quiet again")
    LEVEL_CHANGED = Meaning[LevelChanged]("level changed")
    GEAR_LOST = Meaning[GearLost]("gear lost")
    GEAR_BACK = Meaning[GearBack]("gear back")
    CLOSE = Meaning[By]("close", Control.CLOSE)
    WHY = Meaning[By]("why", Control.WHY)
    SIGNS = Meaning[Signs]("signs")
    FACT = Meaning[Waiting]("fact")
    BLANK = Meaning[By]("leave blank", Control.LEAVE_BLANK)
    THAT_IS_ALL = Meaning[By]("that is all", Control.THAT_IS_ALL)
    OTHER_TEST = Meaning[By]("other test", Control.OTHER_TEST)
    OTHER_LAMP = Meaning[By]("other lamp", Control.OTHER_LAMP)
    GO_ANYWAY = Meaning[By]("go anyway", Control.GO_ANYWAY)
    CHOSEN = Meaning[Named]("procedure chosen")
    CRANK_HEARD = Meaning[StarterHeard]("crank heard")
    CRANK_SOUND = Meaning[StarterHeard]("crank sound")
    PERHAPS_CRANKING = Meaning[StarterHeard]("perhaps cranking")
    CRANK_ENDS = Meaning[StarterHeard]("crank ends")
    ENGINE_RUNS = Meaning[StarterHeard]("engine runs")
    PROPOSED = Meaning[Pending]("proposed")
    SOUNDS = Meaning[Perceived]("sounds")
    CRANK_ANNOUNCED = Meaning[By]("crank announced")
    STANDS = Meaning[Perceived]("reading stands")
    STANDS_WRONG = Meaning[Worded]("reading out of place")
    METER_TOLD = Meaning[MeterTold]("meter told")
    TAKE_IT = Meaning[By]("take it", Control.TAKE_IT)
    END = Meaning[Closed]("end")
    UNEXPECTED = Meaning[None]("unexpected")


_NAMED: tuple[Meaning[Any], ...] = tuple(one for one in vars(Trigger).values() if isinstance(one, Meaning))
_OF_WORDS: dict[Control | None, Meaning[By]] = {one.said: one for one in _NAMED}

SAID: dict[Control, Meaning[By]] = {
    word: _OF_WORDS.get(word) or Meaning[By](word.replace("-", " "), word) for word in Control
}
"""The meaning of each word of the dialogue; a word without a line above means itself."""

TRIGGERS: tuple[Meaning[Any], ...] = tuple(dict.fromkeys((*_NAMED, *SAID.values())))
"""All meanings."""

KEYED: dict[str, Meaning[By]] = {word.key: meaning for word, meaning in SAID.items() if word.key}
"""The meaning of each key, unless a state gives it another one."""

UNEXPECTED: Known[Any] = Known(Trigger.UNEXPECTED, None)
"""An event that means nothing here."""
