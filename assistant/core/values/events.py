"""Events, which the dialogue receives, and actions, which it asks for: plain values without behaviour.

Every event carries `at`, seconds since the session began, so the core never reads a clock.
The record of a session is exactly its events and the actions that each one caused.
`values/codec.py` turns any of them into JSON and back.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

from assistant.core.values.board import Board
from assistant.core.values.entries import (
    Entry,
)
from assistant.core.values.result import GrammarRequest, Result
from assistant.core.values.witness import Witness


@dataclass(frozen=True)
class Clip:
    """A stored piece of sound: file name inside the session folder, SHA-256 of the file, length in s."""

    file: str
    sha256: str
    duration_s: float


@dataclass(frozen=True)
class TypedFact:
    """A fact that was typed on the command line and checked there: its name, value, and unit ("" for none)."""

    fact: str
    value: str
    unit: str = ""


@dataclass(frozen=True)
class ToldToday:
    """What a technician was told in earlier sessions of the same day, so that it need not be told in full again.

    Attributes:
        technician: The technician, as the fact says it.
        cautions: Names of the cautions that were given in full.
        acknowledged: Names of those that were acknowledged.
        cranking: Whether the technician announced a crank, so that nobody has to explain how.
    """

    technician: str
    cautions: tuple[str, ...] = ()
    acknowledged: tuple[str, ...] = ()
    cranking: bool = False


# --- events ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Event:
    """Something that happened at `at` seconds after the session began."""

    at: float


@dataclass(frozen=True)
class Began(Event):
    """A session starts with this procedure.

    Attributes:
        facts: Facts that were typed before, and are not asked for.
        told: What was said in today's earlier sessions; it counts for the technician who is known or signs in.
        left_out: Gear that it is started without on purpose: ``speaker``, ``microphone``.
        witnesses: What perceives in place of the technician in this session.
    """

    procedure: str
    facts: tuple[TypedFact, ...] = ()
    told: tuple[ToldToday, ...] = ()
    left_out: tuple[str, ...] = ()
    witnesses: tuple[Witness, ...] = ()


@dataclass(frozen=True)
class Resumed(Event):
    """An interrupted session goes on; the step and its caution are spoken again. The parts are as in `Began`."""

    left_out: tuple[str, ...] = ()
    witnesses: tuple[Witness, ...] = ()


@dataclass(frozen=True)
class Heard(Event):
    """A phrase of the grammar was recognised.

    Attributes:
        words: The words as recognised.
        result: Their meaning.
        confidence: 0 to 1, from the recogniser.
        clip: The sound of it.
        snr_db: Speech level over noise level, dB.
        noise_db: Noise level, dB relative to full scale.
    """

    words: str
    result: Result
    confidence: float
    clip: Clip | None = None
    snr_db: float | None = None
    noise_db: float | None = None


UNKNOWN = "[unk]"
"""The recogniser's sign for speech outside the grammar; records of earlier versions hold it too."""


def known_words(words: str) -> str:
    """The words of the grammar among what was heard, without `UNKNOWN`."""
    return " ".join(word for word in words.split() if word != UNKNOWN)


@dataclass(frozen=True)
class NoMatch(Event):
    """Someone spoke, but it was nothing that the grammar holds (VoiceXML: nomatch). The parts are as in `Heard`.

    Attributes:
        start_missed: They were speaking already when the microphone was opened, so the words lack their beginning: what
            is left of "zero point one ohms" can be "one ohms".
    """

    words: str
    confidence: float
    clip: Clip | None = None
    snr_db: float | None = None
    noise_db: float | None = None
    start_missed: bool = False

    @property
    def shown(self) -> str:
        """What was heard, for people; "(speech)" if it was no word of the grammar."""
        return known_words(self.words) or "(speech)"


@dataclass(frozen=True)
class Interrupted(Event):
    """Somebody was speaking when the microphone was closed, as the assistant began to speak: what they had said.

    Nothing follows from it; the clip is kept so that nothing said is lost.
    """

    clip: Clip

    @property
    def shown(self) -> str:
        """What stands for it, for people."""
        return "(talked over)"


@dataclass(frozen=True)
class NoInput(Event):
    """Nothing was said in the time that was given (VoiceXML: noinput)."""


class KeySource(enum.StrEnum):
    """Where a key was pressed: the number pad or keyboard, or a finger on the board's page."""

    KEYPAD = "keypad"
    TABLET = "tablet"


@dataclass(frozen=True)
class KeyPressed(Event):
    """A key of the number pad.

    `key` is one of ``0``…``9``, ``point``, ``minus``, ``plus``, ``star``, ``slash``, ``enter``,
    ``erase`` (Backspace), ``stop`` (Escape or the space bar), ``note`` (n), ``close`` (q), ``why`` (w); on a
    computer's keyboard also the other letters ``a`` to ``z``, which count only while something is spelled.
    A record from before there was a board has no `source`.
    """

    key: str
    source: KeySource = KeySource.KEYPAD

    @property
    def shown(self) -> str:
        """The key for people, with its source unless that is the pad."""
        return self.key if self.source is KeySource.KEYPAD else f"{self.key} (by {self.source})"


@dataclass(frozen=True)
class SpeechFinished(Event):
    """The utterance with this number has been spoken to its end, or was cut."""

    utterance: int
    cut: bool = False


@dataclass(frozen=True)
class TimerElapsed(Event):
    """A timer that was started has run out."""

    timer: str


@dataclass(frozen=True)
class NoiseChanged(Event):
    """The noise in the bay crossed the limit above which hearing is hopeless, or fell below it again."""

    noise_db: float
    hopeless: bool


@dataclass(frozen=True)
class LevelChanged(Event):
    """The microphone's level has become bad, or good again.

    Attributes:
        trouble: ``quiet``, ``clipped``, ``hum``; "" when it is good again.
        why: The figure, and what to turn.
    """

    trouble: str
    why: str


@dataclass(frozen=True)
class GearLost(Event):
    """Gear stopped working: `gear` is ``microphone``, ``speaker``, ``keys``, ``number pad``, ``record`` or ``disk``.

    ``record`` had to go on in another file or folder, ``disk`` is nearly full; `why` says which and where.
    """

    gear: str
    why: str


@dataclass(frozen=True)
class GearBack(Event):
    """It works again."""

    gear: str


@dataclass(frozen=True)
class NoteRecorded(Event):
    """A voice note has ended and is stored."""

    clip: Clip


@dataclass(frozen=True)
class Closed(Event):
    """The session is closed from outside (the person quits, or the program is told to end)."""

    why: str


# --- actions --------------------------------------------------------------------------------------


class Speech(enum.StrEnum):
    """Why something is said; cautions are never cut by barge-in."""

    CAUTION = "caution"
    PROMPT = "prompt"
    READ_BACK = "read-back"
    HELP = "help"
    NOTICE = "notice"
    VERDICT = "verdict"
    STOP = "stop"


@dataclass(frozen=True)
class Action:
    """Something that the edges are asked to do."""


@dataclass(frozen=True)
class Say(Action):
    """Speak this text; cuts what is being said.  Answered by `SpeechFinished` with the same number."""

    utterance: int
    text: str
    kind: Speech
    can_be_cut: bool = True


@dataclass(frozen=True)
class CutSpeech(Action):
    """Be quiet at once."""


@dataclass(frozen=True)
class Listen(Action):
    """Listen for this, once speech has finished (or now, when nothing is being said).

    `no_input_s`: after so many seconds of silence a `NoInput` is due; None: wait for ever.
    """

    request: GrammarRequest
    no_input_s: float | None = None


@dataclass(frozen=True)
class StopListening(Action):
    """Hear nothing until the next `Listen`."""


@dataclass(frozen=True)
class RecordNote(Action):
    """Record free speech until silence or at most `longest_s` seconds; answered by `NoteRecorded`."""

    longest_s: float


@dataclass(frozen=True)
class EndNote(Action):
    """End the voice note now; answered by `NoteRecorded`."""


@dataclass(frozen=True)
class StartTimer(Action):
    """Send `TimerElapsed` with this name after so many seconds; restarts a timer of the same name."""

    timer: str
    seconds: float


@dataclass(frozen=True)
class CancelTimer(Action):
    """Forget this timer."""

    timer: str


@dataclass(frozen=True)
class Show(Action):
    """Show this on the screen."""

    board: Board


@dataclass(frozen=True)
class Note(Action):
    """Enter this into the record."""

    entry: Entry


@dataclass(frozen=True)
class Finish(Action):
    """The session is over; `outcome` is ``verdict``, ``closed`` or ``unfinished``."""

    outcome: str
