"""When a reading stands still; pure: samples in, readings and trouble out.

A reading stands when the samples of the last `SETTLE_S`, at least `FEWEST`, lie within the tolerance and do not creep.
The tolerance is the larger of `COUNTS` steps of the last digit and `SHARE` of the value; far from every limit of the
step it is wider, because the answer is the same (`WIDE`). A value creeps when it goes one way in small steps and has
further to go, as it slows down, than half the tolerance: a capacitor charges. After values that came and went it must
stand for `HELD_S`. A value that stands leaves when a sample lies further off than `LEAVES` tolerances: letting go is
harder than settling, so one digit that flickers is no news. All of these were chosen on the signals that the README
names, not on a bench.
"""

from __future__ import annotations

import bisect
import itertools
import math
from collections import deque
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.meter.readings import MeterReading, MeterTrouble

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.meter.readings import Sample
    from assistant.meter.wish import Wish

SETTLE_S = 0.8
"""A value must stand so long; a meter of three values a second then has shown it three times."""
FEWEST = 3
HELD_S = 2.0
"""After this time it has been held."""
OVER_S = 1.5
"""Over range must stand so long, because a meter that looks for its range shows it in passing."""
COUNTS = 2
SHARE = Decimal("0.003")
"""About the error of a bench meter on D C volts and ohms: 0.5 % and 2 digits; from memory of ordinary data sheets."""
WIDE, FAR = Decimal("0.02"), 4
"""The tolerance may reach this share of the value, and this part of the way to the nearest limit of the step."""
LEAVES = 2
LOOK_S = 3.0
"""What came in this time before counts for creeping, and for values that came and went."""
CREEP_COUNTS = 2
WRONG_S = 1.0
"""A wrong function is told after this time: a knob that is being turned passes others."""
GLITCH_S = 1.5
"""A value that left and is back within this time is no new reading."""


@dataclass(frozen=True)
class _Standing:
    """What stands still.

    Attributes:
        reading: As delivered.
        since_s: When it began to stand.
        tolerance: In the unit of the reading.
        held: It was delivered as held.
    """

    reading: MeterReading
    since_s: float
    tolerance: Decimal
    held: bool = False


class Steadiness:
    """Watches samples for a step.

    Args:
        wish: What the step wants.
    """

    def __init__(self, wish: Wish) -> None:
        self._wish = wish
        self._recent: deque[Sample] = deque()
        self._standing: _Standing | None = None
        self._left: tuple[MeterReading, float] | None = None
        self._wrong_since: float | None = None
        self._told = ""

    @property
    def current(self) -> MeterReading | None:
        """The reading that stands now, with all its samples; None while it moves."""
        standing = self._standing
        if standing is None:
            return None
        whole = tuple(one for one in self._recent if one.at_s >= standing.since_s)
        unit = standing.reading.unit
        return replace(self._reading(whole, unit), value=self._reading(_last(whole, SETTLE_S), unit).value)

    def take(self, sample: Sample) -> list[MeterReading | MeterTrouble]:
        """What a further sample shows: a reading that settled or was held, or a wrong function, or nothing."""
        wrong = self._wish.trouble(sample)
        if wrong is not None:
            self._forget(sample)
            return self._complain(wrong, sample)
        self._wrong_since, self._told = None, ""
        if self._recent and _kind(self._recent[-1]) != _kind(sample):
            self._forget(sample)
        self._recent.append(sample)
        while sample.at_s - self._recent[0].at_s > LOOK_S:
            self._recent.popleft()
        return self._settled(sample)

    def interrupted(self) -> None:
        """The samples broke off: nothing stands any more."""
        self._recent.clear()
        self._standing = self._left = None

    def _forget(self, sample: Sample) -> None:
        if self._standing is not None:
            self._left = (self._standing.reading, sample.at_s)
        self._standing = None
        self._recent.clear()

    def _complain(self, wrong: MeterTrouble, sample: Sample) -> list[MeterReading | MeterTrouble]:
        if self._wrong_since is None:
            self._wrong_since = sample.at_s
        if sample.at_s - self._wrong_since < WRONG_S or self._told == wrong.why:
            return []
        self._told = wrong.why
        return [wrong]

    def _settled(self, sample: Sample) -> list[MeterReading | MeterTrouble]:
        standing = self._standing
        if standing is not None:
            if self._stays(standing, sample):
                return self._moved(standing) or self._held(standing, sample)
            self._left, self._standing = (standing.reading, sample.at_s), None
            return []
        found = self._found()
        if found is None:
            return []
        reading, tolerance = found
        self._standing = _Standing(reading, reading.samples[0].at_s, tolerance)
        left, self._left = self._left, None
        back_s = math.inf if left is None else reading.samples[0].at_s - left[1]
        if left is not None and back_s < GLITCH_S and _alike(left[0], reading, tolerance):
            return []
        return [reading]

    def _stays(self, standing: _Standing, sample: Sample) -> bool:
        value = standing.reading.value
        if sample.value is None or value is None:
            return sample.value is None and value is None
        return abs(self._wish.value_in(sample, standing.reading.unit) - value) <= LEAVES * standing.tolerance

    def _moved(self, standing: _Standing) -> list[MeterReading | MeterTrouble]:
        """The reading anew, if the value went by more than the tolerance without leaving."""
        found, unit = _last(self._recent, SETTLE_S), standing.reading.unit
        now = self._reading(found, unit)
        before = standing.reading.value
        if now.value is None or before is None or abs(now.value - before) <= standing.tolerance:
            return []
        if now.spread > standing.tolerance:
            return []
        self._standing = _Standing(now, found[0].at_s, standing.tolerance)
        return [now]

    def _held(self, standing: _Standing, sample: Sample) -> list[MeterReading | MeterTrouble]:
        if standing.held or sample.at_s - standing.since_s < HELD_S:
            return []
        self._standing = replace(standing, held=True)
        samples = tuple(one for one in self._recent if one.at_s >= standing.since_s)
        return [self._reading(samples, standing.reading.unit)]

    def _found(self) -> tuple[MeterReading, Decimal] | None:
        """The reading that the last samples make, with its tolerance; None if they make none."""
        last = self._recent[-1]
        wanted_s = OVER_S if last.value is None else SETTLE_S
        samples = _last(self._recent, wanted_s)
        if len(samples) < FEWEST or samples[-1].at_s - samples[0].at_s < wanted_s:
            return None
        unit = self._wish.unit_of(last)
        if last.value is None:
            return self._reading(samples, unit), Decimal(0)
        values = [self._wish.value_in(one, unit) for one in samples]
        count = max(self._wish.step_in(one, unit) for one in samples)
        limits = self._wish.limits_in(unit)
        tolerance = max(COUNTS * count, SHARE * abs(values[-1]))
        if limits:
            near = min(abs(values[-1] - limit) for limit in limits)
            tolerance = max(tolerance, min(WIDE * abs(values[-1]), near / FAR))
        if max(values) - min(values) > tolerance or self._creeps(unit, count, tolerance):
            return None
        wavers = any(min(values) < limit <= max(values) for limit in limits)
        if wavers or self._came_and_went(unit, values[-1], tolerance):
            samples = _last(self._recent, HELD_S)
            values = [self._wish.value_in(one, unit) for one in samples]
            if samples[-1].at_s - samples[0].at_s < HELD_S or max(values) - min(values) > tolerance:
                return None
        return self._reading(samples, unit), tolerance

    def _came_and_went(self, unit: str, value: Decimal, tolerance: Decimal) -> bool:
        """Whether the value was there, was elsewhere, and is there again: bounce or noise."""
        there = [abs(self._wish.value_in(one, unit) - value) <= LEAVES * tolerance for one in self._recent]
        return any(there) and not all(there[there.index(True) :])

    def _creeps(self, unit: str, count: Decimal, tolerance: Decimal) -> bool:
        """Whether the value goes one way in small steps and has further to go than half the tolerance.

        What stands before a jump does not count. The changes in two equal times are those of a geometric series, and
        its remainder is what is left.
        """
        values = [self._wish.value_in(one, unit) for one in self._recent]
        times = [one.at_s for one in self._recent]
        while True:
            moves = [after - before for before, after in itertools.pairwise(values)]
            whole = abs(values[-1] - values[0])
            if whole < CREEP_COUNTS * count:
                return False
            jump = max(range(len(moves)), key=lambda place: abs(moves[place]))
            if abs(moves[jump]) < whole / 2:
                break
            values, times = values[jump + 1 :], times[jump + 1 :]
        if not (all(m >= 0 for m in moves) or all(m <= 0 for m in moves)):
            return False
        half = bisect.bisect_left(times, (times[0] + times[-1]) / 2)
        before, after = abs(values[half] - values[0]), abs(values[-1] - values[half])
        if after < count:
            return False
        return before <= after or after * after / (before - after) > tolerance / 2

    def _reading(self, samples: Sequence[Sample], unit: str) -> MeterReading:
        span_s = samples[-1].at_s - samples[0].at_s
        if samples[-1].value is None:
            return MeterReading(
                None, unit, over_range=True, spread=Decimal(0), span_s=span_s, samples=tuple(samples)
            )
        values = sorted(self._wish.value_in(one, unit) for one in samples)
        middle = values[(len(values) - 1) // 2]
        return MeterReading(
            middle,
            unit,
            over_range=False,
            spread=values[-1] - values[0],
            span_s=span_s,
            samples=tuple(samples),
        )


def _kind(sample: Sample) -> tuple[str, bool]:
    return sample.quantity, sample.value is None


def _last(samples: Sequence[Sample], span_s: float) -> tuple[Sample, ...]:
    """The latest samples, at least `FEWEST`, as few as span this time; all if they do not."""
    end = samples[-1].at_s
    first = 0
    for place, one in enumerate(samples):
        if end - one.at_s >= span_s:
            first = place
    return tuple(samples)[max(0, min(first, len(samples) - FEWEST)) :]


def _alike(one: MeterReading, other: MeterReading, tolerance: Decimal) -> bool:
    if one.value is None or other.value is None:
        return one.over_range and other.over_range
    return one.unit == other.unit and abs(one.value - other.value) <= LEAVES * tolerance
