"""What an event can mean to the dialogue, with what it carries, the word that says it and the key that it has.

This is the one table of the dialogue's words and keys: a new one is a line here, a cell in the table of states, and
for a word a line in `grammars/control.jsgf`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from assistant.core.dialogue.inquiring import Source, Waiting
from assistant.core.dialogue.trail import Pending
from assistant.core.values.events import (
    Began,
    Closed,
    GearBack,
    GearLost,
    NoiseChanged,
    NoMatch,
    NoteRecorded,
    SpeechFinished,
)
from assistant.core.values.result import Control

_Carried = TypeVar("_Carried")


@dataclass(frozen=True)
class By:
    """A word or key of the dialogue: `how` is ``voice``, ``keypad``, or the key if only that tells it apart."""

    how: str


@dataclass(frozen=True)
class Named:
    """The name of what was chosen: a place, a reason for skipping, a procedure, or a key."""

    name: str


@dataclass(frozen=True)
class Worded:
    """What was understood but cannot be taken, in words."""

    text: str


@dataclass(frozen=True)
class Signs:
    """Letters and digits that were spelled in one breath."""

    signs: str
    source: Source


@dataclass(frozen=True, eq=False)
class Meaning(Generic[_Carried]):
    """One thing that an event can mean; the type says what it carries.

    Attributes:
        value: Its name in the record and in the diagram.
        said: The word of the dialogue that says it; None if none does.
        key: The key that means it wherever no other meaning is given to the key; "" if none does.
        letter: The letter on a computer's keyboard that is that key; "" if it is a key of the number pad.
        anywhere: Whether the word and the key are taken in every state in which the dialogue listens.
    """

    value: str
    said: Control | None = None
    key: str = ""
    letter: str = ""
    anywhere: bool = False

    def __str__(self) -> str:
        return self.value


@dataclass(frozen=True, slots=True)
class Known(Generic[_Carried]):
    """What an event means here, and what it carries."""

    trigger: Meaning[_Carried]
    payload: _Carried


class Trigger:
    """All meanings."""

    BEGIN = Meaning[Began]("begin")
    RESUME = Meaning[None]("resume")
    SPOKEN = Meaning[SpeechFinished]("spoken")
    ACKNOWLEDGE = Meaning[By]("acknowledge", Control.READY)
    RESULT = Meaning[Pending]("result")
    WRONG_PLACE = Meaning[Named]("wrong place")
    NO_ANSWER = Meaning[Worded]("no answer here")
    IMPLAUSIBLE = Meaning[Worded]("implausible")
    NO_MATCH = Meaning[NoMatch]("no match")
    NO_INPUT = Meaning[None]("no input")
    AFFIRM = Meaning[By]("affirm", Control.AFFIRM)
    DENY = Meaning[By]("deny", Control.NEGATIVE)
    CORRECTION = Meaning[By]("correction", Control.CORRECTION)
    SAY_AGAIN = Meaning[By]("say again", Control.SAY_AGAIN)
    CHOICES = Meaning[By]("choices", Control.CHOICES, "star")
    NOT_SURE = Meaning[By]("not sure", Control.NOT_SURE)
    STAND_BY = Meaning[By]("stand by", Control.STAND_BY, "slash")
    GO_AHEAD = Meaning[By]("go ahead", Control.GO_AHEAD)
    STOP = Meaning[By]("stop", Control.STOP, "stop")
    NOTE = Meaning[By]("voice note", Control.VOICE_NOTE, "note", "n")
    NOTE_ENDED = Meaning[NoteRecorded]("note ended")
    END_NOTE = Meaning[By]("end note")
    SKIP = Meaning[By]("skip", Control.SKIP, "plus")
    REASON = Meaning[Named]("reason")
    CRANK_BEGINS = Meaning[By]("crank begins", Control.CRANKING)
    CRANK_LIMIT = Meaning[None]("crank limit")
    RESTED = Meaning[None]("rested")
    TYPED = Meaning[Named]("typed")
    TOO_LOUD = Meaning[NoiseChanged]("too loud")
    QUIET_AGAIN = Meaning[NoiseChanged]("quiet again")
    GEAR_LOST = Meaning[GearLost]("gear lost")
    GEAR_BACK = Meaning[GearBack]("gear back")
    CLOSE = Meaning[By]("close", Control.CLOSE, "close", "q")
    WHY = Meaning[By]("why", Control.WHY, "why", "w")
    SIGNS = Meaning[Signs]("signs")
    FACT = Meaning[Waiting]("fact")
    BLANK = Meaning[By]("leave blank", Control.LEAVE_BLANK)
    THAT_IS_ALL = Meaning[By]("that is all", Control.THAT_IS_ALL)
    OTHER_TEST = Meaning[By]("other test", Control.OTHER_TEST)
    OTHER_LAMP = Meaning[By]("other lamp", Control.OTHER_LAMP)
    CHOSEN = Meaning[Named]("procedure chosen")
    END = Meaning[Closed]("end")
    UNEXPECTED = Meaning[None]("unexpected")


TRIGGERS: tuple[Meaning[Any], ...] = tuple(one for one in vars(Trigger).values() if isinstance(one, Meaning))
"""All meanings, in order."""

SAID: dict[Control, Meaning[By]] = {one.said: one for one in TRIGGERS if one.said is not None}
"""What each word of the dialogue means."""

KEYED: dict[str, Meaning[By]] = {one.key: one for one in TRIGGERS if one.key}
"""What each key means wherever no other meaning is given to it."""

LETTERS: dict[str, str] = {one.letter: one.key for one in TRIGGERS if one.letter}
"""Letters on a computer's keyboard that are keys of the dialogue."""

UNEXPECTED: Known[Any] = Known(Trigger.UNEXPECTED, None)
"""An event that means nothing here."""
