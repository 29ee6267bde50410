"""How sure a beginning of cranking is: sixteen units that judge traits of the frames since then.

The network judges each frame, and a sound that it takes for a starter deceives it frame after frame. Traits of the
whole stretch tell more: whether the level jumped, how it swells, how steady the judgement is, and for how long. The
weights are fitted by `assistant.hearing_bench.starter.certain` on mixtures of the developing set.
"""

from __future__ import annotations

import functools
import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from assistant.hearing.starter.features import BANDS, FRAME_S

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.hearing.starter.network import FrameSays

Floats = NDArray[np.float64]

WEIGHTS = Path(__file__).with_name("certainty.npz")

BEFORE = 32
"""Frames before the beginning that it is compared with: half a second."""

LONGEST = 94
"""Frames after the beginning that are looked at: one and a half seconds."""

EVERY = 4
"""An unsure beginning is judged again after so many frames."""

RARER = 5.0
"""The odds of a start in a session are so many times lower than those among the mixtures that were fitted; chosen on
the developing set, by how many false beginnings the dialogue would believe."""

_MOST = 4.0
"""Log odds of a frame count for at most so much."""

TRAITS = (
    "odds",
    "latest odds",
    "lowest odds",
    "odds before",
    "runs",
    "pulse",
    "swing of the pulse",
    "no rhythm",
    "uneven",
    "pump",
    "level",
    "jump",
    "tilt",
    "spread over the bands",
    "change from frame to frame",
    "swell",
    "swell at 4 to 14 Hz",
    "length",
    "length squared",
)
"""Their names, in order; each is explained in `traits`."""


def columns(says: Sequence[FrameSays]) -> Floats:
    """What the network says as an array of shape (frames, 6), a column for each attribute of `FrameSays`."""
    return np.array([(one.cranks, one.runs, one.pulse, one.pump, one.uneven, one.no_rhythm) for one in says])


def traits(relative: Floats, says: Floats, since: int) -> Floats:
    """Traits of a beginning.

    Args:
        relative: Bands relative to their means, of shape (frames, BANDS): up to `BEFORE` frames before the beginning,
            and those since.
        says: `columns` of the same frames.
        since: Row of the beginning.

    Returns:
        One number for each name in `TRAITS`.
    """
    cranks = says[:, 0]
    odds = np.clip(np.log(cranks + 1e-4) - np.log(1.0 - cranks + 1e-4), -_MOST, _MOST)
    now, seen = odds[since:], relative[since:]
    eight = np.convolve(now, np.ones(8) / 8, "valid") if now.size >= 8 else now.mean(keepdims=True)
    _, runs, pulse, pump, uneven, no_rhythm = says[since:].mean(axis=0)
    mean, before = seen.mean(axis=0), relative[:since].mean() if since else 0.0
    third = BANDS // 3
    swell, told = _swells(seen)
    length = math.log(now.size)
    return np.array(
        [
            now.mean(),
            now[-8:].mean(),
            eight.min(),
            odds[:since].mean() if since else -_MOST,
            runs,
            pulse,
            says[since:, 2].std(),
            no_rhythm,
            uneven,
            pump,
            mean.mean(),
            mean.mean() - before,
            mean[-third:].mean() - mean[:third].mean(),
            mean.std(),
            np.abs(np.diff(seen, axis=0)).mean() if len(seen) > 1 else 0.0,
            swell,
            told,
            length,
            length**2,
        ]
    )


def _swells(seen: Floats) -> tuple[float, float]:
    """How much the mean of the bands swells, and the share of that between 4 and 14 Hz; without its straight line."""
    level = seen.mean(axis=1)
    if level.size < 12:
        return 0.0, 0.0
    time = np.linspace(-1, 1, level.size)
    steady = level - level.mean() - time * (level @ time) / np.sum(time**2)
    power = np.abs(np.fft.rfft(steady * np.hanning(level.size + 2)[1:-1], 128)) ** 2
    hertz = np.arange(power.size) / (128 * FRAME_S)
    return float(steady.std()), float(power[(hertz >= 4) & (hertz <= 14)].sum() / max(power.sum(), 1e-9))


@functools.cache
def _weights() -> dict[str, Floats]:
    with np.load(WEIGHTS) as kept:
        return {name: kept[name].astype(np.float64) for name in kept.files}


def certainty(found: Floats) -> float:
    """Probability that a beginning with these traits is one.

    Args:
        found: Of `traits`; of shape (traits,).
    """
    share = min(0.999, max(0.001, float(certainties(_weights(), found[None])[0])))
    return share / (share + (1.0 - share) * RARER)


def certainties(kept: dict[str, Floats], rows: Floats) -> Floats:
    """The same for rows of traits, with any weights, if starts are as frequent as among the mixtures."""
    inner = np.tanh(
        np.clip((rows - kept["mean"]) / kept["scale"], -4, 4) @ kept["first"] + kept["first_bias"]
    )
    return np.asarray(0.5 + 0.5 * np.tanh(0.5 * (inner @ kept["weights"] + kept["bias"])))


SAID_FROM = 0.2
"""A beginning is said once it has this probability; chosen on the developing set."""

SURE_FROM = 0.6
"""A beginning that was said with less is said once more when it has this probability: that from which the dialogue
believes it (`assistant.core.dialogue.policy.HEARD_FROM`)."""


class DoubtedBeginning:
    """A beginning that is judged until it is sure, or `LONGEST` frames old.

    Attributes:
        said: Whether it was said.
        best: The highest probability that it had.
    """

    def __init__(self) -> None:
        self.said = False
        self.best = 0.0
        self._first = self._last = -(10**9)

    def due(self, frame: int) -> bool:
        """Whether it is to be judged at this frame."""
        if self._first < 0:
            return True
        return self.best < SURE_FROM and frame - self._last >= EVERY and frame - self._first < LONGEST

    def judge(self, share: float, frame: int) -> bool:
        """Take its probability at a frame; whether it is to be said now."""
        self._first = frame if self._first < 0 else self._first
        self._last = frame
        surer = share >= SURE_FROM > self.best
        new = surer or (share >= SAID_FROM and not self.said)
        self.best = max(self.best, share)
        self.said = self.said or new
        return new

    def weighed(self, share: float) -> float:
        """The probability of something that is only true if the beginning is."""
        return share if self.best >= SURE_FROM else share * self.best
