"""Decides when cranking begins and ends and when the engine runs, from the network's probabilities of each frame.

Evidence for another state is added up frame by frame and never falls under zero (Page's cumulative sum, 1954): a state
changes once enough has come together, and the change is dated to where the sum left zero.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

from assistant.hearing.starter.features import FRAME_S

if TYPE_CHECKING:
    from assistant.hearing.starter.network import FrameSays

MOST = 3.0
"""A single frame counts for at most so much (natural logarithm of odds)."""

RUNS_AFTER_S = 2.0
"""An engine that is heard to run so soon after the end of a crank was started by it."""


class Turning(Enum):
    """What turns the engine."""

    NOTHING = "nothing"
    STARTER = "starter"
    ITSELF = "itself"


LIMITS = {
    (Turning.NOTHING, Turning.STARTER): 6.0,
    (Turning.NOTHING, Turning.ITSELF): 30.0,
    (Turning.STARTER, Turning.NOTHING): 24.0,
    (Turning.STARTER, Turning.ITSELF): 24.0,
    (Turning.ITSELF, Turning.NOTHING): 60.0,
    (Turning.ITSELF, Turning.STARTER): 30.0,
}
"""Evidence that a change needs; chosen on the developing set. A beginning needs little of it, so that it is found
early: `certainty` judges whether it is one."""

DOUBTED = 12.0
"""Evidence for the end of a crank whose beginning was never sure."""


@dataclass(frozen=True)
class PhaseChange:
    """The engine is turned by something else from a frame on.

    Attributes:
        before: What turned it.
        after: What turns it now.
        at: Number of the frame where that began.
        confidence: Mean probability of the new state since then.
    """

    before: Turning
    after: Turning
    at: int
    confidence: float


@dataclass
class _Sum:
    total: float = 0.0
    began: int = 0
    shares: float = 0.0
    count: int = 0

    def add(self, odds: float, share: float, frame: int) -> None:
        if self.total <= 0.0:
            self.total, self.began, self.shares, self.count = 0.0, frame, 0.0, 0
        self.total = max(0.0, self.total + max(-MOST, min(MOST, odds)))
        self.shares += share
        self.count += 1


class Phases:
    """Follows the state of the engine.

    Attributes:
        now: What turns it.
        since: Frame from which on it does.
        sure: Whether the starter is believed to turn it; a beginning that is not is given up sooner. May be set.
    """

    def __init__(self) -> None:
        self.now = Turning.NOTHING
        self.since = 0
        self.sure = False
        self._sums = {state: _Sum() for state in Turning}

    def hear(self, says: FrameSays, frame: int) -> PhaseChange | None:
        """Take the probabilities of the next frame; the change that they complete."""
        shares = {
            Turning.STARTER: says.cranks,
            Turning.ITSELF: says.runs,
            Turning.NOTHING: max(0.0, 1.0 - says.cranks - says.runs),
        }
        for state, one in self._sums.items():
            if state is not self.now:
                odds = math.log(shares[state] + 1e-4) - math.log(shares[self.now] + 1e-4)
                one.add(odds, shares[state], frame)
        ripe = [
            state
            for state, one in self._sums.items()
            if state is not self.now and one.total >= self._limit(state)
        ]
        if not ripe:
            return None
        after = max(ripe, key=lambda state: self._sums[state].total)
        one = self._sums[after]
        change = PhaseChange(self.now, after, one.began, min(0.999, one.shares / one.count))
        self.now, self.since, self.sure = after, one.began, False
        self._sums = {state: _Sum() for state in Turning}
        return change

    def _limit(self, after: Turning) -> float:
        """Evidence that a change needs now."""
        doubted = (self.now, after) == (Turning.STARTER, Turning.NOTHING) and not self.sure
        return DOUBTED if doubted else LIMITS[self.now, after]


PUMP_LIMIT = 12.0
SHORTEST_PUMP_S, LONGEST_PUMP_S = 1.0, 4.0
"""A prime at key-on takes about two seconds (common practice, no source); shorter and longer hums are others."""


class PumpWatch:
    """Finds a hum that begins, lasts about two seconds, and ends."""

    def __init__(self) -> None:
        self._on, self._off = _Sum(), _Sum()
        self._humming = False
        self._began = 0
        self._shares, self._count = 0.0, 0

    def hear(self, share: float, frame: int) -> tuple[int, float] | None:
        """Take the probability of a pump in the next frame; the frame where a hum began that has just ended, and its
        confidence.
        """
        odds = math.log(share + 1e-4) - math.log(1.0 - share + 1e-4)
        if not self._humming:
            self._on.add(odds, share, frame)
            if self._on.total >= PUMP_LIMIT:
                self._humming, self._began, self._off = True, self._on.began, _Sum()
                self._shares, self._count = 0.0, 0
            return None
        self._shares += share
        self._count += 1
        self._off.add(-odds, 1.0 - share, frame)
        if self._off.total < PUMP_LIMIT:
            return None
        self._humming, self._on = False, _Sum()
        length = (self._off.began - self._began) * FRAME_S
        if not SHORTEST_PUMP_S <= length <= LONGEST_PUMP_S:
            return None
        return self._began, min(0.99, self._shares / max(1, self._count))
