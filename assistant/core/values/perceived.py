"""Events of what was perceived in place of the technician: proposals with their source and confidence.

None of them is an answer. The dialogue grades them like words, and nothing that was perceived becomes a result
without a word or a key.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass
from decimal import Decimal

from assistant.core.values.events import Clip, Event
from assistant.core.values.result import Result
from assistant.core.values.witness import Figure, Witness


class CrankSound(enum.StrEnum):
    """What the ear hears of a starter: it begins to turn the engine, it ends, the engine has fired and runs."""

    BEGINS = "begins"
    ENDS = "ends"
    RUNS = "runs"


@dataclass(frozen=True)
class StarterHeard(Event):
    """The starter began or ended, or the engine runs.  Silence is no event: it does not tell that nothing cranks.

    Attributes:
        phase: What was heard.
        ago_s: How long before `at` it happened, s.
        confidence: Probability that it is true, 0 to 1.
    """

    phase: CrankSound
    ago_s: float
    confidence: float

    @property
    def happened(self) -> float:
        """When it happened, s since the session began; never before it began."""
        return max(0.0, self.at - max(0.0, self.ago_s))


@dataclass(frozen=True)
class Perceived(Event):
    """A reading that stands on a meter now, or an answer that something sounds or looks like.

    A reading stands until another one comes or `MeterTold` takes it away.

    Attributes:
        source: What perceived it.
        result: An outcome (also ``over-range``), a value with its unit, or the word "not sure" of a clamp.
        confidence: Probability that it is right, 0 to 1, as the source states it.
        spread: Its standard deviation, in the unit of the value or of the figure ``speed``; None if not known.
        figures: Figures for the record: range and samples of a meter, speed and compressions by ear.
        stood_s: How long it has stood by now, s; 0 for what is over.
        clip: File of the samples that a clamp captured; None if none was kept.
    """

    source: Witness
    result: Result
    confidence: float = 1.0
    spread: float | None = None
    figures: tuple[Figure, ...] = ()
    stood_s: float = 0.0
    clip: Clip | None = None

    def figure(self, name: str) -> str:
        """The figure of this name; "" if there is none."""
        return next((one.text for one in self.figures if one.name == name), "")


@dataclass(frozen=True)
class WantedReading:
    """What a step wants of a meter.

    Attributes:
        units: Units in which it may be answered, all of one quantity, the step's own first.
        ac: Whether it wants alternating voltage.
        limits: Borders between its answers that are numbers, in the first unit.
        turn: Differs from one question to the next: what stood before is to be told again.
    """

    units: tuple[str, ...]
    ac: bool
    limits: tuple[Decimal, ...]
    turn: int


class MeterState(enum.StrEnum):
    """What a meter tells besides readings.

    Attributes:
        GOOD: It works as it should, or works again.
        UNSTEADY: What stood on it no longer does.
        WRONG_FUNCTION: Its switch is on another quantity than the step needs.
        SILENT: It sends nothing.
        GONE: It was unplugged or switched off.
    """

    GOOD = ""
    UNSTEADY = "unsteady"
    WRONG_FUNCTION = "wrong function"
    SILENT = "silent"
    GONE = "gone"


@dataclass(frozen=True)
class MeterTold(Event):
    """The meter is in this state.

    Attributes:
        trouble: The state.
        why: The reason, in a sentence or two that can be spoken: "The meter is on ohms. This test needs volts."
    """

    trouble: MeterState
    why: str = ""
