"""Entries of the record for the repair order: one small value for each thing done or said."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from assistant.core.values.witness import Figure, Witness

KEPT = " (kept from an earlier step)"
"""Ends the words of a result that was taken over from an earlier step with the same measurement."""


class Why(StrEnum):
    """Why a result is asked again; the words are those of the remark in the record."""

    MISFIT = "does not fit"
    PART = "before a part"
    SUM = "does not add up"


DOUBTED = "asked again, because it did not fit"
"""Reason why a doubtful result was taken back; it is asked again at once."""

SET_ASIDE = "set aside, because an earlier one did not fit"
"""Reason why a result after a doubtful one was taken back; it is offered again when its step comes."""

THIN = "asked again, before a part was named"
BEHIND_THIN = "set aside, because an earlier one was asked again"
UNEQUAL = "asked again, because the pieces did not add up"

TAKEN_BACK = {
    Why.MISFIT: (DOUBTED, SET_ASIDE),
    Why.PART: (THIN, BEHIND_THIN),
    Why.SUM: (UNEQUAL, BEHIND_THIN),
}
"""For each `Why`, the reason for taking back the result that is asked again, and those that came after it."""

ASKED_AGAIN = tuple(again for again, _ in TAKEN_BACK.values())


@dataclass(frozen=True)
class Entry:
    """Something for the repair order."""


@dataclass(frozen=True)
class ProcedureEntered(Entry):
    """This procedure was started or resumed.

    `came_from` is the procedure that handed over, or that was done in between; None if there is neither.
    `came_back` says that it had been set aside (`ProcedurePaused`) and goes on at its step.
    """

    procedure: str
    came_from: str | None = None
    came_back: bool = False


@dataclass(frozen=True)
class ProcedurePaused(Entry):
    """This procedure was set aside at this step, to do another one first."""

    procedure: str
    step: str


@dataclass(frozen=True)
class FactGiven(Entry):
    """A fact about the vehicle, the order or the gear counts from now on; the last standing one counts.

    Attributes:
        fact: Its name in the terms.
        value: Signs, digits of a number, or name of a choice; "" if it was left blank.
        unit: Unit of a number as it was given; "" for everything else.
        how: ``voice``, ``keypad``, ``tablet``, ``typed`` (on the command line) or ``left blank``.
        words: The recognised words, or the keys.
        confidence: 0 to 1; the lowest of all that was heard for it, 1 for keys.
        confirmed: ``typed``, ``read back``, ``affirmed``, or ``left blank``.
        clip: File of the sound that was heard last for it, if it was spoken.
    """

    fact: str
    value: str
    unit: str
    how: str
    words: str
    confidence: float
    confirmed: str
    clip: str | None


@dataclass(frozen=True)
class FactUndone(Entry):
    """A fact was taken back; it stays in the record.

    `how` is ``voice``, ``keypad``, ``tablet``, or the reason: ``other lamp``, ``lamp refused``.
    """

    fact: str
    value: str
    how: str


@dataclass(frozen=True)
class CautionGiven(Entry):
    """A caution was spoken to its end before this step; `form` is ``full`` or ``short``."""

    caution: str
    form: str
    procedure: str
    step: str


@dataclass(frozen=True)
class CautionAcknowledged(Entry):
    """The person said or keyed that they are ready after the cautions of this step."""

    cautions: tuple[str, ...]
    procedure: str
    step: str
    how: str


@dataclass(frozen=True)
class ResultTaken(Entry):
    """A result of a step counts from now on.

    Attributes:
        number: 1, 2, 3 … in the order in which results were taken in the session.
        outcome: Name of the answer or band that the result fell into.
        value: The reading as given; None for a step without numbers.
        unit: Unit of `value`.
        how: ``voice``, ``keypad`` or ``tablet``.
        words: The recognised words, or the keys.
        confirmed: ``taken`` (no confirmation needed), ``read back`` (implicitly, open to correction) or
            ``affirmed`` (read back and affirmed).
        clip: File of the sound, if it was spoken.
        next: Step, procedure or verdict that follows, as ``step:NAME``, ``procedure:NAME``, ``verdict:NAME``.
        judged: The value that was judged, in the unit of the step: the reading less the leads, corrected for
            temperature; None if it was the reading itself.
    """

    number: int
    procedure: str
    step: str
    outcome: str
    value: Decimal | None
    unit: str | None
    how: str
    words: str
    confidence: float
    snr_db: float | None
    confirmed: str
    clip: str | None
    next: str
    judged: Decimal | None = None


@dataclass(frozen=True)
class ResultRepeated(ResultTaken):
    """A result of a step that repeated the measurement of an earlier result, such as the failed one after a repair.

    `outcome` is the answer of the step itself, that the measurement is good or not; `value`, `unit` and `judged` are
    those of the measurement.

    Attributes:
        repeats: Number of the earlier result.
        shown: Name of the answer or band of the repeated step that the measurement fell into.
    """

    repeats: int = 0
    shown: str = ""


@dataclass(frozen=True)
class ResultPerceived(Entry):
    """The result with this number was perceived and not said or keyed: it comes before its `ResultTaken`.

    Attributes:
        source: What perceived it.
        confidence: As the source stated it, 0 to 1.
        spread: Standard deviation, in the unit of the value or of the figure ``speed``; None if not known.
        figures: The figures that came with it.
        taken: How it was taken: ``voice``, ``keypad``, ``tablet``, or ``held`` for a reading that stood by itself.
    """

    number: int
    source: Witness
    confidence: float
    spread: float | None
    figures: tuple[Figure, ...]
    taken: str


@dataclass(frozen=True)
class AnswerKnown(Entry):
    """A step was not asked, because an earlier procedure of the session has seen to it.

    Attributes:
        outcome: The answer that is taken as known.
        after: The procedure that has seen to it.
        next: What follows, as in `ResultTaken`.
    """

    procedure: str
    step: str
    outcome: str
    after: str
    next: str


@dataclass(frozen=True)
class ResultUndone(Entry):
    """The result with this number was taken back; it stays in the record.

    `how` is ``voice``, ``keypad``, ``tablet``, `DOUBTED` or `SET_ASIDE`.
    """

    number: int
    procedure: str
    step: str
    how: str


@dataclass(frozen=True)
class ChangeSeen(Entry):
    """The lamp or the meter changed while this step was watched; the time is that of its line in the record.

    Attributes:
        outcome: Name of what it showed then.
        number: 1, 2, 3 … among the changes of this step that stand.
        how: ``voice``, ``keypad`` or ``tablet``.
        words: The recognised words, or the key.
        confidence: 0 to 1; 1 for a key.
        clip: File of the sound, if it was spoken.
    """

    outcome: str
    procedure: str
    step: str
    number: int
    how: str
    words: str
    confidence: float
    clip: str | None


@dataclass(frozen=True)
class ChangeUndone(Entry):
    """The change with this number was taken back; it stays in the record. `how` is as in `ChangeSeen`."""

    number: int
    outcome: str
    procedure: str
    step: str
    how: str


@dataclass(frozen=True)
class StepSkipped(Entry):
    """A step was not done, and why."""

    procedure: str
    step: str
    reason: str
    next: str


@dataclass(frozen=True)
class VerdictReached(Entry):
    """The session came to this verdict; `affirmed` once the person has heard and affirmed it."""

    procedure: str
    verdict: str
    affirmed: bool


@dataclass(frozen=True)
class LedBack(Entry):
    """The dialogue stopped: this procedure handed over to one that had been done, and there was nothing new to do.

    No part is named and nothing is decided.

    Attributes:
        procedure: The procedure that handed over.
        back_to: The one that it handed over to.
        says: The sentence that was spoken.
        next: The next thing to do, and who does it.
    """

    procedure: str
    back_to: str
    says: str
    next: str


@dataclass(frozen=True)
class VoiceNoteTaken(Entry):
    """Free speech, kept as sound, made while this step was on."""

    clip: str
    duration_s: float
    procedure: str
    step: str


@dataclass(frozen=True)
class Cranked(Entry):
    """The engine was cranked for so many seconds; `timed` is false if the person did not say when it began."""

    seconds: float
    timed: bool
    procedure: str
    step: str


class CrankKind(StrEnum):
    """What a crank by ear is to the record.

    Attributes:
        STEP: The crank that the step asked for, begun by ear.
        UNASKED: A crank that no step asked for.
        LONGER: A crank went on for so long after it was thought to have ended.
    """

    STEP = "step"
    UNASKED = "unasked"
    LONGER = "longer"


@dataclass(frozen=True)
class CrankHeard(Cranked):
    """The ear heard the engine being cranked for so many seconds, and nobody had announced it.

    Attributes:
        confidence: Probability that it was cranking, 0 to 1.
        what: What it is to the record.
    """

    confidence: float = 0.0
    what: CrankKind = CrankKind.STEP


@dataclass(frozen=True)
class ModeChanged(Entry):
    """Stand by, stop, resumed, keypad only, voice again, microphone lost: what changed and why."""

    mode: str
    why: str


@dataclass(frozen=True)
class Remark(Entry):
    """Anything else worth keeping: a wrong place, a phrase not understood, a key that did nothing."""

    kind: str
    text: str
    procedure: str
    step: str
