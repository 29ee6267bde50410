"""What a finger needs besides the board: it derives from the step, so the record does not hold it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Asks(StrEnum):
    """What kind of keys the present question takes, besides those that the board lists."""

    NOTHING = ""
    NUMBER = "number"
    SIGNS = "signs"


@dataclass(frozen=True)
class DoneResult:
    """A result that counts: its place among the results, and its words ("feed side: lit")."""

    number: int
    words: str


@dataclass(frozen=True)
class Particulars:
    """What the present step tells a finger.

    Attributes:
        procedure: Name of the procedure; "" before the first.
        step: Name of the step.
        asks: Kind of keys that are taken.
        unit: Unit of the number that is asked for, as written; "" for none.
        plausible: Lowest and highest believable number, as written; None if there is none.
        longest: Most characters of a number.
        over_range: The keys that stand for "over range", one after the other; "" where it is no answer.
        done: The last results that count, the newest first.
        results: Number of all results that count.
    """

    procedure: str = ""
    step: str = ""
    asks: Asks = Asks.NOTHING
    unit: str = ""
    plausible: tuple[str, str] | None = None
    longest: int = 0
    over_range: str = ""
    done: tuple[DoneResult, ...] = ()
    results: int = 0
