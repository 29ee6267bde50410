"""Finds the dwell periods in a long capture of a clamp's current; pure.

While an engine cranks, the driver switches the coil on for some milliseconds, some times a second. A dwell begins where
the current crosses half of its usual height and ends where it falls again; nothing that lasts longer than
`LONGEST_S` is one, so the slow surge of the starter's current makes none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LONGEST_S = 30e-3
SHORTEST_S = 0.15e-3
BEFORE_S = 1.5e-3
"""Time before the crossing that belongs to a cut-out dwell; the rise of a sound coil begins in it or before it."""
AFTER_S = 2e-3
"""Time after a dwell that is kept for a picture."""
_RISE_S = 12e-3
"""Longest time from the beginning of a rise to the crossing."""
_SMOOTH_S = 0.1e-3
_BLOCK_S = 0.1
_LEAST_A = 0.25
"""Pulses lower than this are not looked for: half of what counts as no current."""
_SURELY_A = 1.0
"""A level beyond this is current and no error of the clamp's zero, so its sign says how the clamp lies."""
_NOISES = 6


@dataclass(frozen=True, eq=False)
class CurrentCapture:
    """Current of a cable over time, evenly sampled.

    Attributes:
        ampere: In A, shape ``(t,)``; the sign is that of the clamp.
        rate: Samples a second.
    """

    ampere: Floats
    rate: float

    @property
    def duration_s(self) -> float:
        """How long it is."""
        return len(self.ampere) / self.rate

    @property
    def time(self) -> Floats:
        """Seconds from its beginning, shape ``(t,)``."""
        return np.arange(len(self.ampere)) / self.rate


@dataclass(frozen=True, eq=False)
class Dwells:
    """The dwells of a capture, laid over each other.

    Attributes:
        level: Current in A between the dwells.
        count: How many there are; 0 if the current does not pulse.
        time: Seconds from the crossing, shape ``(t,)``; empty without dwells. Rises and falls stay sharp, because
            each dwell is laid by its own crossing.
        ampere: The mean of the dwells above the level, shape ``(t,)``, ending where the current falls.
        tail: The mean after that, for `AFTER_S`.
        noise: Standard deviation of one sample in A.
        begins: Seconds from the beginning of the capture to each crossing, shape ``(count,)``.
        reversed: The clamp is the wrong way round; it was put right.
    """

    level: float
    count: int
    time: Floats
    ampere: Floats
    tail: Floats
    noise: float
    begins: Floats
    reversed: bool = False


def dwells(capture: CurrentCapture) -> Dwells:
    """Find them."""
    values = np.asarray(capture.ampere, float)
    smooth = _smoothed(values, capture.rate)
    level = float(np.median(smooth))
    up, down = _height(smooth - level, capture.rate), _height(level - smooth, capture.rate)
    turned = level < 0 if abs(level) > _SURELY_A else down > 2 * up
    if turned:
        values, smooth, level, up = -values, -smooth, -level, down
    steps = np.abs(np.diff(values))
    noise = float(np.median(steps)) / (0.6745 * np.sqrt(2)) if len(steps) else 0.0
    nothing = Dwells(level, 0, np.zeros(0), np.zeros(0), np.zeros(0), noise, np.zeros(0), turned)
    if up < max(_LEAST_A, _NOISES * noise / np.sqrt(max(1.0, _SMOOTH_S * capture.rate))):
        return nothing
    spans = [
        (begin, end)
        for begin, end in _above(smooth - level, 0.5 * up, 0.3 * up)
        if SHORTEST_S <= (end - begin) / capture.rate <= LONGEST_S
    ]
    if not spans:
        return nothing
    lead, after = round(_RISE_S * capture.rate), round(AFTER_S * capture.rate)
    length = int(np.median([end - begin for begin, end in spans]))
    kept = [
        begin
        for begin, end in spans
        if abs(end - begin - length) <= max(2, 0.15 * length) and lead <= begin < len(values) - length - after
    ]
    if not kept:
        return nothing
    laid = np.mean([values[begin - lead : begin + length + after] for begin in kept], axis=0) - level
    first = _foot(laid, lead, up, capture.rate)
    ends = _top(laid[: lead + length], noise / np.sqrt(len(kept)))
    time = (np.arange(len(laid)) - lead) / capture.rate
    return Dwells(
        level,
        len(kept),
        time[first:ends],
        laid[first:ends],
        laid[ends:],
        noise,
        np.array(kept) / capture.rate,
        turned,
    )


def _smoothed(values: Floats, rate: float) -> Floats:
    width = max(1, round(_SMOOTH_S * rate))
    return np.convolve(values, np.full(width, 1 / width), mode="same") if len(values) >= width else values


def _height(above: Floats, rate: float) -> float:
    """The usual height of what rises above zero: that of most blocks, so that one spike is none."""
    width = max(1, round(_BLOCK_S * rate))
    blocks = [float(above[at : at + width].max()) for at in range(0, len(above), width)]
    return float(np.percentile(blocks, 75)) if blocks else 0.0


def _above(values: Floats, up: float, down: float) -> list[tuple[int, int]]:
    """Spans that begin above one threshold and end below a lower one."""
    spans: list[tuple[int, int]] = []
    rises = np.flatnonzero((values[1:] >= up) & (values[:-1] < up)) + 1
    falls = np.flatnonzero(values < down)
    end = -1
    for begin in rises:
        if begin < end:
            continue
        later = np.searchsorted(falls, begin)
        if later == len(falls):
            break
        end = int(falls[later])
        spans.append((int(begin), end))
    return spans


def _foot(laid: Floats, crossing: int, up: float, rate: float) -> int:
    """The sample at which the cut-out begins: some time before the current leaves its level for good."""
    low = np.flatnonzero(laid[:crossing] < 0.08 * up)
    left = int(low[-1]) if len(low) else 0
    return max(0, left - round(BEFORE_S * rate))


def _top(laid: Floats, noise: float) -> int:
    """The sample after the last one before the current falls."""
    peak = float(laid[len(laid) // 2 :].max())
    high = np.flatnonzero(laid >= 0.95 * peak - 2 * noise)
    return int(high[-1]) + 1 if len(high) else len(laid)
