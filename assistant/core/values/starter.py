"""How long a starter may crank, and when again: a budget of cranking seconds that fills up again.

A starter is built for seconds.  Each crank takes its seconds from the budget, and the budget recovers all the time at
an even rate.  While enough of it is left, nobody has to wait; when it is used up, the starter rests until it is whole.
The vehicle maker's limit rules: given as a fact, it replaces ours, and what it says of the wait holds after each crank.

Published limits, as they were read (`PUBLISHED`); ours lie between them, and their worst case is the 15 s of one go
with the minute after it.  That cranking heats in proportion to time, and that an even rate of cooling is on the safe
side of the real one for short cranks, is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf


@dataclass(frozen=True)
class StarterLimits:
    """Limits of cranking, in s.

    Attributes:
        longest_s: Longest cranking in one go: 15 s (TM 5-5420-202-10, work package 0032; passenger-car handbooks of
            1996, 2007 and 2017).
        budget_s: Cranking without a forced wait; as much as the longest in one go.
        recovery_s: Time in which an empty budget is whole again.  Passenger-car handbooks name 15 s, TM 5-3805-290-23-1
            and heavy trucks two minutes, TM 5-5420-202-10 three to five; a minute is chosen between them.
        pause_s: At least so long between two cranks, so that engine and starter stand still (operator's handbook of a
            heavy truck: at least five seconds).
        least_s: A crank that is shorter shows nothing; with less left the budget counts as used up (chosen).
        assumed_s: Length of a crank that nobody announced: what a look at a lamp and the answer take (chosen).
        flat_rest_s: Rest after any crank, however short, instead of the budget; 0 if the budget counts.  The maker's,
            or that of a session of earlier rules.
    """

    longest_s: float = 15.0
    budget_s: float = 15.0
    recovery_s: float = 60.0
    pause_s: float = 5.0
    least_s: float = 5.0
    assumed_s: float = 5.0
    flat_rest_s: float = 0.0

    def by_maker(self, longest_s: float | None, rest_s: float | None) -> StarterLimits:
        """These limits with the maker's in their place; None for one that was not given."""
        limits = self
        if longest_s is not None:
            rate = self.budget_s / self.recovery_s
            assumed = min(self.assumed_s, longest_s)
            limits = replace(
                limits,
                longest_s=longest_s,
                budget_s=longest_s,
                recovery_s=longest_s / rate,
                assumed_s=assumed,
            )
        return limits if rest_s is None else replace(limits, flat_rest_s=rest_s)


@dataclass(frozen=True)
class Published:
    """A limit as a publication states it.

    Attributes:
        source: The publication, and where in it.
        longest_s: Longest cranking in one go; None if it names none.
        rest_s: Shortest wait before the next; None if it names none.
        seen: Whether the text was read for this; false for one from memory.
    """

    source: str
    longest_s: float | None
    rest_s: float | None
    seen: bool = True


PUBLISHED = (
    Published("passenger-car handbook of model year 1996, starting the engine, page 2-11", 15, None),
    Published("passenger-car handbook of model year 2007, starting the engine, page 130", 15, 15),
    Published("passenger-car handbook of model year 2017, if engine fails to start, page 192", 15, 10),
    Published("passenger-car handbook, starting the engine: not over 10 s, 10 s or more between", 10, 10),
    Published("passenger-car handbooks with 15 s and two minutes", 15, 120, seen=False),
    Published("operator's handbook of a heavy truck: wait before another start", None, 5),
    Published("operator's manual of a heavy truck of 2010, normal temperature starting, page 93", 30, 120),
    Published("operation manual of a diesel engine, starting the engine, page 29", 30, 120),
    Published("TM 5-5420-202-10, work package 0032, slave starting, step 16", 15, 180),
    Published("TM 5-3805-290-23-1, work package 0013, electric starting system test", 30, 120),
)
"""Published limits; makers are not named here, military manuals by their number."""


@dataclass(frozen=True, slots=True)
class Starter:
    """A starter after its last crank.

    Attributes:
        used_s: Seconds of the budget that were used up then.
        ended: When the last crank ended, s since the session began.
        rested_at: When it will have rested, s since the session began.
        hurried: Whether somebody goes on before it has rested.
    """

    used_s: float = 0.0
    ended: float = -inf
    rested_at: float = 0.0
    hurried: bool = False

    def used(self, limits: StarterLimits, now: float) -> float:
        """Seconds of the budget that are used up now."""
        recovered = (now - self.ended) * limits.budget_s / limits.recovery_s
        return max(0.0, self.used_s - recovered)

    def cranked(self, limits: StarterLimits, seconds: float, now: float) -> Starter:
        """The starter after a crank of so many seconds that has ended now."""
        if limits.flat_rest_s:
            return Starter(seconds, now, now + limits.flat_rest_s)
        used = self.used(limits, max(self.ended, now - seconds)) + seconds
        used_up = limits.budget_s - used < min(limits.least_s, limits.budget_s)
        return Starter(used, now, now + used * limits.recovery_s / limits.budget_s if used_up else now)

    def ready_at(self, limits: StarterLimits) -> float:
        """When the next crank may begin, s since the session began: it has rested, and the engine stands still."""
        return self.rested_at if self.hurried else max(self.rested_at, self.ended + limits.pause_s)

    def longest(self, limits: StarterLimits, now: float) -> float:
        """How long a crank may last that begins now, s; who goes on in spite of the rest gets the shortest useful."""
        if self.hurried:
            return min(limits.longest_s, limits.least_s)
        if limits.flat_rest_s:
            return limits.longest_s
        return min(limits.longest_s, max(limits.least_s, limits.budget_s - self.used(limits, now)))

    def at_once(self, now: float) -> Starter:
        """The same starter when somebody goes on before it has rested."""
        return replace(self, rested_at=min(self.rested_at, now), hurried=True)
