"""A person's answer by voice or key, after the words have been understood.

A `Result` is the only thing that hearing and the number pad hand to the dialogue.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Self


class Control(StrEnum):
    """The dialogue's own words; VoiceXML and radiotelephony terms (ICAO Doc 9432) where there is one.

    This is the one table of words and keys. A word with a key of its own has it in every state that gives the key no
    other meaning.

    Attributes:
        key: The name of that key, as in `assistant.core.values.events.KeyPressed`; "" if there is none.
        letter: The letter of a computer's keyboard that is that key; "" if it is on the number pad.
        anywhere: Whether the word is taken in every state in which the dialogue listens.
    """

    key: str
    letter: str
    anywhere: bool

    def __new__(cls, word: str, key: str = "", letter: str = "", anywhere: bool = False) -> Self:
        """A word; see the attributes."""
        control = str.__new__(cls, word)
        control._value_ = word
        control.key, control.letter, control.anywhere = key, letter, anywhere
        return control

    AFFIRM = "affirm"
    NEGATIVE = "negative"
    CORRECTION = "correction"
    SAY_AGAIN = "say-again"
    CHOICES = "choices", "star"
    STAND_BY = "stand-by", "slash"
    GO_AHEAD = "go-ahead"
    NOT_SURE = "not-sure"
    STOP = "stop", "stop"
    VOICE_NOTE = "voice-note", "note", "n"
    SKIP = "skip", "plus"
    READY = "ready"
    CRANKING = "cranking"
    CLOSE = "close", "close", "q"
    WHY = "why", "why", "w"
    LEAVE_BLANK = "leave-blank"
    THAT_IS_ALL = "that-is-all"
    OTHER_TEST = "other-test"
    OTHER_LAMP = "other-lamp"
    GO_ANYWAY = "go-anyway"
    TAKE_IT = "take-it"


KEYED_AS_WELL = frozenset(
    {
        Control.SKIP,
        Control.CHOICES,
        Control.VOICE_NOTE,
        Control.CRANKING,
        Control.CLOSE,
        Control.NOT_SURE,
        Control.WHY,
        Control.LEAVE_BLANK,
        Control.THAT_IS_ALL,
        Control.OTHER_TEST,
        Control.OTHER_LAMP,
        Control.GO_ANYWAY,
        Control.TAKE_IT,
    }
)
"""Words that a session can do without: if the recogniser lacks one, its key is used."""


@dataclass(frozen=True)
class Result:
    """One understood phrase: an outcome, a reading, a control word, or spelled signs, with the place if it was said.

    Exactly one of `outcome`, `value`, `control`, `signs` is set.

    Attributes:
        outcome: Name of an outcome, such as ``lit`` or ``steady``.
        value: Number of a reading, in `unit` if that was said, else in the unit of the step.
        unit: ``V``, ``mV``, ``A``, ``ohm``, ``kilohm``, ``megohm``, ``rpm``, ``s``, ``ms``, ``km``, ``miles``,
            ``celsius`` or ``fahrenheit``; None if not said.
        control: A word of the dialogue.
        place: Name of the place that was said with it, such as ``feed`` or ``switched``.
        signs: Letters (capitals) and digits that were spelled in one breath, such as ``1HG``.
    """

    outcome: str | None = None
    value: Decimal | None = None
    unit: str | None = None
    control: Control | None = None
    place: str | None = None
    signs: str | None = None

    def __post_init__(self) -> None:
        parts = (self.outcome, self.value, self.control, self.signs)
        if len([part for part in parts if part is not None]) != 1:
            raise ValueError("a result is exactly one of an outcome, a reading, a control word, or signs")


class Spelling(StrEnum):
    """Which signs may be spelled: none, letters and digits, those of a VIN (no I, O, Q), or digits alone."""

    NONE = ""
    SIGNS = "signs"
    VIN = "vin"
    DIGITS = "digits"


@dataclass(frozen=True)
class GrammarRequest:
    """The dialogue's request for what may be heard now; the grammar room turns it into phrases.

    Attributes:
        outcomes: Outcome names of the step, in the order in which they are spoken.
        units: Units in which a reading may be given, the step's own unit first; empty if no number is asked.
        controls: Words of the dialogue that are taken now.
        spelling: Signs that may be spelled, a few in one breath; digits may be followed by a unit.
        places: Whether a place may be said before an outcome or a reading, also a wrong one, so that it can be
            caught; not where no measurement is asked for.
        counting: Whether a number without a unit may be said, such as a cylinder's.
        digits: Whether the number may also be said digit by digit, because it was not understood.
    """

    outcomes: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    controls: tuple[Control, ...] = ()
    spelling: Spelling = Spelling.NONE
    places: bool = True
    counting: bool = False
    digits: bool = False
