"""What a meter reports: single samples, a reading that stands still, and trouble; values only.

Units are those of `assistant.core.values.units`, and "" for a quantity that no step measures. The number keeps the
digits of the display: 12.40 V is ``Decimal("12.40")``; zero is ``Decimal(0)``.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal


@dataclass(frozen=True)
class Sample:
    """One value of a meter, as it came.

    Attributes:
        at_s: When it arrived, in s of the clock that the reader was given.
        value: The number; None if the meter is over its range.
        unit: Unit of the value, by our name; "" if we have none for it.
        quantity: "voltage", "current", "resistance", "temperature", "speed", "time", "frequency", "diode",
            "continuity", "capacitance" or "other".
        step: Value of the last digit shown, in `unit`; 0 if over range.
        ac: The meter says that it shows alternating voltage or current.
        dc: It says that it shows direct voltage or current. A meter may say neither.
        hold: Its display is held, so the value is an old one.
        peak: It keeps the greatest or the least value (``MAX``, ``MIN``).
        autorange: It chooses its range by itself.
        relative: It shows the difference from a value that was stored.
    """

    at_s: float
    value: Decimal | None
    unit: str
    quantity: str
    step: Decimal = Decimal(0)
    ac: bool = False
    dc: bool = False
    hold: bool = False
    peak: bool = False
    autorange: bool = False
    relative: bool = False


@dataclass(frozen=True)
class MeterReading:
    """A value that stands still.

    It is delivered when the meter has settled, and a second time, with the same value, when it has stood for two
    seconds (`span_s` says how long). The next one follows only after the value left and settled anew, or after
    `Meter.expect` was called.

    Attributes:
        value: A number that the display showed, in `unit`; None if `over_range`.
        unit: The first unit that the step asked for, or a larger one of those that it may be answered in: 1.234 megohm
            stays that, and 50 mV is 0.050 V to a step in volts. Conversion is exact and keeps the digits.
        over_range: The meter is over its range: the step's answer `OVER_RANGE`.
        spread: Greatest minus least value of the samples, in `unit`; 0 if over range.
        span_s: Time from the first to the last of the samples.
        samples: The samples on which the reading rests, oldest first, as they came.
    """

    value: Decimal | None
    unit: str
    over_range: bool
    spread: Decimal
    span_s: float
    samples: tuple[Sample, ...]


@dataclass(frozen=True)
class MeterTrouble:
    """Something about the meter that is said once.

    Attributes:
        kind: "silent": it runs, but no value comes. "wrong function": what it measures does not fit the step, or its
            display is held. "gone": the cable or the program is gone. "back": values come again after one of both.
        meter_function: What the meter is on, to be spoken: "ohms", "AC volts"; "" if nothing is known.
        why: One or two sentences to be spoken: "The meter is on ohms. This test needs volts."
    """

    kind: Literal["silent", "wrong function", "gone", "back"]
    meter_function: str
    why: str
