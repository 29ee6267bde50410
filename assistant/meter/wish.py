"""Whether what a meter is on fits what a step wants, and the words for both."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.core.values.units import UNIT_WORDS, convert, units_like
from assistant.meter.readings import MeterTrouble

if TYPE_CHECKING:
    from assistant.meter.readings import Sample

_FUNCTIONS = {
    "voltage": "volts",
    "current": "amps",
    "resistance": "ohms",
    "temperature": "temperature",
    "speed": "R P M",
    "time": "time",
    "frequency": "hertz",
    "diode": "the diode test",
    "continuity": "continuity",
    "capacitance": "capacitance",
}


@dataclass(frozen=True)
class Wish:
    """What a step wants of the meter.

    Attributes:
        units: Units in which it may be answered, all of one quantity; the first is the step's own.
        ac: It wants alternating voltage or current.
        limits: Borders between the bands of its reading, in the first unit.
        peak: It wants the peak hold.
    """

    units: tuple[str, ...]
    ac: bool = False
    limits: tuple[Decimal, ...] = ()
    peak: bool = False

    def words(self) -> str:
        """The function that is needed, to be spoken: "volts", "A C volts"."""
        name = UNIT_WORDS[_BASE.get(self.units[0], self.units[0])][1]
        return f"A C {name}" if self.ac and name in ("volts", "amps") else name

    def fits(self, sample: Sample) -> bool:
        """Whether the sample answers the step."""
        return self._complaint(sample) == ""

    def trouble(self, sample: Sample) -> MeterTrouble | None:
        """Why it does not answer the step; None if it does."""
        why = self._complaint(sample)
        return MeterTrouble("wrong function", function_words(sample), why) if why else None

    def _complaint(self, sample: Sample) -> str:
        on = function_words(sample)
        if sample.quantity in ("diode", "continuity") or not self._same_quantity(sample):
            needed = self.words()
            return f"The meter is on {on}. This test needs {needed}." if on else f"This test needs {needed}."
        if self.ac and sample.dc and not sample.ac:
            return f"The meter is on {on}. This test needs {self.words()}."
        if not self.ac and sample.ac and not sample.dc:
            return f"The meter is on {on}. This test needs D C {self.words()}."
        if sample.hold and not self.peak:
            return "The meter's hold is on. Turn hold off."
        if sample.peak and not self.peak:
            return "The meter keeps the peak. Turn that off."
        if sample.relative:
            return "The meter shows a difference. Turn relative off."
        return ""

    def _same_quantity(self, sample: Sample) -> bool:
        return bool(sample.unit) and self.units[0] in units_like(sample.unit)

    def unit_of(self, sample: Sample) -> str:
        """The unit in which the sample is told: the step's own, or a larger one in which it came and may be answered.

        Sigrok gives 0.050 V as 50 mV, whatever the display shows, so a smaller unit says nothing.
        """
        first = self.units[0]
        factor = convert(Decimal(1), sample.unit, first)
        return sample.unit if sample.unit in self.units and factor is not None and factor > 1 else first

    def value_in(self, sample: Sample, unit: str) -> Decimal:
        """Its value in a unit of the same quantity, with the digits that were shown: 1.534 kilohms are 1534 ohms.

        Raises:
            ValueError: It is over range, or of another quantity.
        """
        found = None if sample.value is None else convert(sample.value, sample.unit, unit)
        if found is None:
            raise ValueError("An over-range sample, or one of another quantity, has no value in this unit.")
        if sample.unit == unit or not found or not sample.step:
            return found
        exponent = self.step_in(sample, unit).normalize().as_tuple().exponent
        return found.quantize(Decimal(1).scaleb(min(0, exponent if isinstance(exponent, int) else 0)))

    def step_in(self, sample: Sample, unit: str) -> Decimal:
        """The value of its last digit in a unit of the same quantity."""
        one, none = (convert(value, sample.unit, unit) for value in (sample.step, Decimal(0)))
        return Decimal(0) if one is None or none is None else one - none

    def limits_in(self, unit: str) -> tuple[Decimal, ...]:
        """The borders in a unit of the same quantity."""
        found = (convert(limit, self.units[0], unit) for limit in self.limits)
        return tuple(limit for limit in found if limit is not None)


_BASE = {"mV": "V", "kilohm": "ohm", "megohm": "ohm", "ms": "s"}
"""A function of a meter is called by the unit without its prefix."""


def function_words(sample: Sample) -> str:
    """What the meter is on, to be spoken: "ohms", "A C volts"; "" if it is not known."""
    name = _FUNCTIONS.get(sample.quantity, "")
    if name not in ("volts", "amps") or sample.ac == sample.dc:
        return name
    return f"{'A' if sample.ac else 'D'} C {name}"
