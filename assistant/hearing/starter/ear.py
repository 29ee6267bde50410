"""The ear that is fed with the microphone's samples and says what it heard of the starter."""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.starter.certainty import (
    BEFORE,
    SURE_FROM,
    DoubtedBeginning,
    certainty,
    columns,
    traits,
)
from assistant.hearing.starter.features import FRAME_S, HOP, WINDOW, Floats, FrameMaker, SlowMean
from assistant.hearing.starter.manner import manner_of
from assistant.hearing.starter.network import DELAY, FrameSays, StarterNetwork
from assistant.hearing.starter.phases import RUNS_AFTER_S, PhaseChange, Phases, PumpWatch, Turning
from assistant.hearing.starter.rhythm import beat_of
from assistant.hearing.starter.values import CrankPhase, CrankSpeed, Evenness, Perceived, PumpHum

if TYPE_CHECKING:
    from assistant.hearing.sound import Samples

LONGEST_S = 30.0
"""So much of a crank is kept for its rhythm; no starter may turn for longer."""

UNCLEAR = 0.4
"""Of the speeds whose peak is no higher than the next one, so many are wrong (developing set)."""

TOLD_AFTER_S = 0.5
"""The evenness is taken from the frames so long after the beginning of a crank."""


class StarterEar:
    """Hears the starter beside the hearing of speech; it takes nothing from speech and never blocks.

    An empty answer says nothing: cranking that was not heard may still be going on. Nobody may conclude from it that
    the starter does not turn.

    Args:
        cylinders: Of the engine (a four-stroke: half as many compressions for each turn of the crank); None if
            nobody said, and then compressions a second are all that can be told of the speed.

    Attributes:
        cylinders: May be set at any time; it counts for cranks that end afterwards.
    """

    def __init__(self, cylinders: int | None = None) -> None:
        self.cylinders = cylinders
        self._maker = FrameMaker()
        self._mean = SlowMean()
        self._network = StarterNetwork()
        self._phases = Phases()
        self._pump = PumpWatch()
        self._frame = -1
        self._made = 0
        self._ended = -(10**9)
        self._begun = DoubtedBeginning()
        self._kept: deque[tuple[Floats, Floats, FrameSays]] = deque(maxlen=round(LONGEST_S / FRAME_S))
        self._late: deque[tuple[int, Floats, Floats]] = deque(maxlen=DELAY + 1)

    def feed(self, samples: Samples) -> list[Perceived]:
        """Hear the next samples, 16 bits, 16,000 a second, any number of them.

        The answers do not depend on how the sound is cut into pieces. It never raises on account of the samples.

        Returns:
            What was perceived by now, in the order of being perceived; mostly nothing.
        """
        heard: list[Perceived] = []
        for made in self._maker.frames(whole_numbers(samples)):
            self._made += 1
            if made is None:
                continue  # a gap: nothing is heard and nothing forgotten
            relative = self._mean.relative(made)
            says = self._network.hear(relative)
            self._late.append((self._made - 1, made, relative))
            if len(self._late) > DELAY:
                frame, bands, relative = self._late[0]
                # A rhythm needs its time: the frame before stands for those that were lost.
                for _ in range(frame - self._frame - 1 if self._kept else 0):
                    self._kept.append(self._kept[-1])
                self._frame = frame
                self._kept.append((bands, relative, says))
                heard += self._hear(says)
        return heard

    def _hear(self, says: FrameSays) -> list[Perceived]:
        """Hear the frame that the network has now judged."""
        found: list[Perceived] = []
        hum = self._pump.hear(says.pump if self._phases.now is Turning.NOTHING else 0.0, self._frame)
        if hum is not None:
            found.append(PumpHum(_time(hum[0]), hum[1]))
        since = self._phases.since
        change = self._phases.hear(says, self._frame)
        if change is not None:
            found += self._changed(change, since)
        if self._phases.now is Turning.STARTER and self._begun.due(self._frame):
            found += self._judged()
        return found

    def _judged(self) -> list[Perceived]:
        """Judge the beginning of a crank (again); what is to be said of it."""
        since = self._phases.since
        kept = list(self._kept)[-min(len(self._kept), self._frame - since + 1 + BEFORE) :]
        first = self._frame - len(kept) + 1
        relative = np.stack([one[1] for one in kept]).astype(np.float64)
        share = certainty(traits(relative, columns([one[2] for one in kept]), max(0, since - first)))
        said = self._begun.judge(share, self._frame)
        self._phases.sure = self._begun.best >= SURE_FROM
        return [CrankPhase("begins", _time(since), share)] if said else []

    def _changed(self, change: PhaseChange, since: int) -> list[Perceived]:
        at_s = _time(change.at)
        found: list[Perceived] = []
        if change.after is Turning.STARTER:
            self._begun = DoubtedBeginning()
        elif change.before is Turning.STARTER and not self._begun.said:
            return []  # nobody was told of it
        sure = self._begun.weighed(change.confidence)
        if change.after is Turning.ITSELF and (
            change.before is Turning.STARTER or (change.at - self._ended) * FRAME_S < RUNS_AFTER_S
        ):
            found.append(CrankPhase("runs", at_s, sure))
        if change.before is Turning.STARTER:
            self._ended = change.at
            found.append(CrankPhase("ends", at_s, change.confidence))
            found.append(_weighed(self._speed(since, change.at), self._begun))
        return found

    def _speed(self, since: int, until: int) -> CrankSpeed:
        """Judge the crank between two frames."""
        first = self._frame - len(self._kept) + 1
        kept = list(self._kept)[max(0, since - first) : max(0, until - first)]
        says = [one[2] for one in kept]
        evenness, even_sure, rhythm = _evenness(says)
        beat = None
        if evenness != "no-rhythm":
            beat = beat_of([one.pulse for one in says], [one[0] for one in kept], self.cylinders)
        end_s = _time(until)
        if beat is None:
            manner, share = manner_of(None, None, evenness, even_sure)
            return CrankSpeed(None, None, evenness, even_sure, end_s, None, None, manner, share, even_sure)
        sure = 1 - UNCLEAR / max(1.0, beat.clear) ** 2
        if self.cylinders is None:
            return CrankSpeed(
                None, None, evenness, sure, end_s, beat.per_s, beat.sigma, evenness_confidence=even_sure
            )
        scale = 120 / self.cylinders
        rpm, sigma = beat.per_s * scale, beat.sigma * scale
        manner, share = manner_of(rpm, sigma, evenness, sure * rhythm)
        return CrankSpeed(rpm, sigma, evenness, sure, end_s, beat.per_s, beat.sigma, manner, share, even_sure)


def _weighed(speed: CrankSpeed, begun: DoubtedBeginning) -> CrankSpeed:
    """The speed of a crank whose beginning may never have been sure."""
    return replace(
        speed,
        confidence=begun.weighed(speed.confidence),
        probability=begun.weighed(speed.probability),
        evenness_confidence=begun.weighed(speed.evenness_confidence),
    )


def _time(frame: int) -> float:
    """Middle of a frame, s."""
    return frame * FRAME_S + WINDOW / 2 / (HOP / FRAME_S)


def _evenness(says: list[FrameSays]) -> tuple[Evenness, float, float]:
    """Of a crank's frames, the probability that it is right, and that there is a rhythm at all."""
    told = says[round(TOLD_AFTER_S / FRAME_S) :]
    if len(told) < round(0.3 / FRAME_S):
        return "unknown", 0.0, 0.8
    weights = np.linspace(0.3, 1.0, len(told))
    weights /= weights.sum()
    uneven = float(np.sum(weights * [one.uneven for one in told]))
    none = float(np.sum(weights * [one.no_rhythm for one in told]))
    shares: dict[Evenness, float] = {"even": 1 - uneven - none, "uneven": uneven, "no-rhythm": none}
    best = max(shares, key=lambda one: shares[one])
    return best, shares[best], 1 - none


def whole_numbers(samples: Samples) -> Samples:
    """Any samples as a row of 16-bit numbers; what is not a number becomes silence."""
    row = np.asarray(samples).ravel()
    if row.dtype == np.int16:
        return row
    with np.errstate(all="ignore"):
        real = np.nan_to_num(row.astype(np.float64), nan=0.0, posinf=32767, neginf=-32768)
    return np.clip(np.rint(real), -32768, 32767).astype(np.int16)
