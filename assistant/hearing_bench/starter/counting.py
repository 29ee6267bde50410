"""Compares what the ear said with what is true, one scene at a time."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.benchmarks import percentile
from assistant.hearing.sound import RATE
from assistant.hearing.starter.certainty import SURE_FROM
from assistant.hearing.starter.ear import StarterEar
from assistant.hearing.starter.manner import SLOW_UNDER_RPM, TOO_FAST_OVER_RPM
from assistant.hearing.starter.values import CrankPhase, CrankSpeed, Perceived, PumpHum

if TYPE_CHECKING:
    from assistant.hearing.sound import Samples
    from assistant.hearing_bench.starter.scenes import PlacedStart, Scene

PIECE = 512
"""Samples are fed as the microphone delivers them."""

SURE = 0.8
"""A proposal with at least this probability is worth making; chosen."""

EARLY_S = 0.3
LATE_S = 1.0
"""A report belongs to what happened if it is dated at most so much before it, and comes at most so long after."""


def _share(answers: list[bool]) -> float:
    """Share of yes; no number without an answer."""
    return sum(answers) / len(answers) if answers else float("nan")


@dataclass(frozen=True)
class HeardAt:
    """Something that the ear said, and the time of sound when it said so, s."""

    said: Perceived
    at_s: float


@dataclass
class StartCounts:
    """Counts and delays of some scenes; delays are from the truth to the report, s.

    Attributes:
        starts: Starts that there were.
        begun: For each beginning that was heard: its delay, and that until it was believed (`SURE_FROM`; infinite if
            it never was).
        ended: Delay of each end.
        split: Cranks that were reported as ended before they were.
        ran: Delay of each engine that was heard to run.
        fired: Engines that ran.
        wrong_runs: Engines that were said to run and did not.
        alarms: Beginnings that were none.
        speeds: Said speed over the true one, minus one; its relative standard error, and its confidence.
        manners: For each start with a manner: true, said, probability.
        evenness: For each crank: true, said.
        pumps: Pumps that there were, that were heard, and that were none.
    """

    starts: int = 0
    begun: list[tuple[float, float]] = field(default_factory=list)
    ended: list[float] = field(default_factory=list)
    split: int = 0
    ran: list[float] = field(default_factory=list)
    fired: int = 0
    wrong_runs: int = 0
    alarms: int = 0
    speeds: list[tuple[float, float, float]] = field(default_factory=list)
    manners: list[tuple[str, str | None, float]] = field(default_factory=list)
    evenness: list[tuple[str, str]] = field(default_factory=list)
    pumps: list[int] = field(default_factory=lambda: [0, 0, 0])

    def add(self, other: StartCounts) -> None:
        """Add those of other scenes."""
        for name, value in vars(other).items():
            if name == "pumps":
                self.pumps = [one + more for one, more in zip(self.pumps, value, strict=True)]
            else:
                setattr(self, name, getattr(self, name) + value)

    def row(self) -> dict[str, float]:
        """Figures of a table: shares, and seconds."""
        errors = [abs(error) for error, _, _ in self.speeds]
        good = [abs(error) for error, _, share in self.speeds if share >= SURE]
        right = [true == said for true, said, _ in self.manners]
        sure = [true == said for true, said, share in self.manners if said is not None and share >= SURE]
        even = [true == said for true, said in self.evenness]
        begun = [delay for delay, _ in self.begun]
        believed = [delay for _, delay in self.begun if math.isfinite(delay)]
        return {
            "starts": self.starts,
            "missed": 1 - len(self.begun) / max(self.starts, 1),
            "begin_median_s": percentile(begun, 50),
            "begin_95_s": percentile(begun, 95),
            "begin_within_half": _share([one <= 0.5 for one in begun]),
            "believed": len(believed) / max(self.starts, 1),
            "believed_within_half": sum(one <= 0.5 for one in believed) / max(self.starts, 1),
            "end_missed": 1 - len(self.ended) / max(len(self.begun), 1),
            "end_median_s": percentile(self.ended, 50),
            "end_95_s": percentile(self.ended, 95),
            "split": self.split / max(self.starts, 1),
            "fired": self.fired,
            "runs_missed": 1 - len(self.ran) / max(self.fired, 1),
            "runs_median_s": percentile(self.ran, 50),
            "runs_95_s": percentile(self.ran, 95),
            "wrong_runs": self.wrong_runs / max(self.starts - self.fired, 1),
            "alarms": self.alarms,
            "speeds": len(errors),
            "speed_median": percentile(errors, 50),
            "speed_95": percentile(errors, 95),
            "speed_sure": len(good) / max(len(errors), 1),
            "sure_speed_median": percentile(good, 50),
            "sure_speed_95": percentile(good, 95),
            "within_2_sigma": _share([abs(e) <= 2 * s for e, s, _ in self.speeds]),
            "manner_right": _share(right),
            "manner_sure": len(sure) / max(len(right), 1),
            "manner_right_when_sure": _share(sure),
            "evenness_right": _share(even),
            "pumps": self.pumps[0],
            "pumps_heard": self.pumps[1] / max(self.pumps[0], 1),
            "pumps_wrong": self.pumps[2],
        }


def heard(samples: Samples, cars: list[tuple[float, int]] | None = None) -> list[HeardAt]:
    """Feed sound to a new ear in the microphone's pieces.

    Args:
        samples: The sound.
        cars: From which second on an engine has how many cylinders; none are told without it.
    """
    ear, told = StarterEar(), []
    for at in range(0, samples.size, PIECE):
        for since, cylinders in cars or ():
            if at >= since * RATE:
                ear.cylinders = cylinders
        told += [HeardAt(one, (at + PIECE) / RATE) for one in ear.feed(samples[at : at + PIECE])]
    return told


def true_manner(placed: PlacedStart) -> str:
    """Slow, normal or too fast, from what was made."""
    if placed.start.condition == "no-rhythm" or placed.motion.rpm > TOO_FAST_OVER_RPM:
        return "too-fast"
    return "slow" if placed.motion.rpm < SLOW_UNDER_RPM else "normal"


def counted(scene: Scene) -> StartCounts:
    """Let the ear hear a scene and count."""
    counts = StartCounts()
    told = heard(scene.samples, [(one.at_s, one.start.car.cylinders) for one in scene.starts])
    begins = [one for one in told if isinstance(one.said, CrankPhase) and one.said.phase == "begins"]
    used: set[int] = set()
    for placed in scene.starts:
        _count_start(counts, placed, told, used)
    counts.alarms = len({one.said.at_s for one in begins if id(one) not in used})
    hums = [one.said.at_s for one in told if isinstance(one.said, PumpHum)]
    found = sum(any(at - 0.5 <= hum <= end for hum in hums) for at, end in scene.pumps)
    counts.pumps = [len(scene.pumps), found, len(hums) - found]
    return counts


def _count_start(counts: StartCounts, placed: PlacedStart, told: list[HeardAt], used: set[int]) -> None:
    until = placed.ends_s if placed.runs_s is None else min(placed.ends_s, placed.runs_s)
    counts.starts += 1
    counts.fired += placed.runs_s is not None
    within = [one for one in told if placed.at_s - EARLY_S <= _dated(one) <= placed.stops_s + LATE_S]
    begins = [one for one in within if _is(one, "begins") and _dated(one) <= until + 0.2]
    ends = [one for one in within if _is(one, "ends")]
    runs = [one for one in within if _is(one, "runs")]
    used.update(id(one) for one in begins)
    if not begins:
        return
    sure = [one.at_s for one in begins if one.said.confidence >= SURE_FROM]
    counts.begun.append((begins[0].at_s - placed.at_s, min(sure, default=math.inf) - placed.at_s))
    late = [one for one in ends if _dated(one) >= until - EARLY_S]
    counts.split += len({_dated(one) for one in begins}) > 1 or len(late) < len(ends)
    if late:
        counts.ended.append(late[0].at_s - until)
    if placed.runs_s is not None and runs:
        counts.ran.append(runs[0].at_s - placed.runs_s)
    counts.wrong_runs += placed.runs_s is None and bool(runs)
    _count_speed(counts, placed, [one.said for one in within if isinstance(one.said, CrankSpeed)])


def _count_speed(counts: StartCounts, placed: PlacedStart, speeds: list[CrankSpeed]) -> None:
    if not speeds:
        return
    said, true = speeds[0], placed.motion.rpm
    if said.rpm is not None and said.sigma_rpm is not None and placed.start.condition != "no-rhythm":
        counts.speeds.append((said.rpm / true - 1, said.sigma_rpm / true, said.confidence))
    counts.manners.append((true_manner(placed), said.manner, said.probability))
    counts.evenness.append((placed.start.condition, said.evenness))


def _is(one: HeardAt, phase: str) -> bool:
    return isinstance(one.said, CrankPhase) and one.said.phase == phase


def _dated(one: HeardAt) -> float:
    return one.said.at_s
