"""What perceives in place of the technician, and the figures that it gives with what it perceived."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Witness(StrEnum):
    """What perceived something: each has an error of its own, and the record names it as it names voice and keys.

    Attributes:
        EAR: The microphone, which hears the starter, the engine and the fuel pump.
        METER: A meter that reports its readings.
        CLAMP: A clamp or scope that reports samples.
    """

    EAR = "ear"
    METER = "meter"
    CLAMP = "clamp"


@dataclass(frozen=True)
class Figure:
    """A figure for the record that was perceived with a value, such as ``range``, ``20 V``."""

    name: str
    text: str
