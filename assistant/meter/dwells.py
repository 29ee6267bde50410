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
_SMOOTH_S = (0.1e-3, 1e-3)
"""Shortest and longest time over which noise is taken out before dwells are looked for."""
_BLOCK_S = 0.1
_LEAST_A = 0.25
"""Pulses lower than this are not looked for: half of what counts as no current."""
_SURELY_A = 2.0
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
        least: Height in A that a pulse needs to be told from the noise.
        reversed: The clamp is the wrong way round; it was put right.
    """

    level: float
    count: int
    time: Floats
    ampere: Floats
    tail: Floats
    noise: float
    begins: Floats
    least: float
    reversed: bool = False


def dwells(capture: CurrentCapture) -> Dwells:
    """Find them."""
    values = np.asarray(capture.ampere, float)
    steps = np.abs(np.diff(values))
    noise = float(np.median(steps)) / (0.6745 * np.sqrt(2)) if len(steps) else 0.0
    smooth, least = _quietened(values, capture.rate, noise)
    level = float(np.median(smooth))
    up, down = (_height(sign * (smooth - level), capture.rate, least) for sign in (1, -1))
    turned = down > 2 * up if abs(level) < _SURELY_A else level < 0 and up < 2 * down
    if turned:
        values, smooth, level, up = -values, -smooth, -level, down
    nothing = Dwells(level, 0, np.zeros(0), np.zeros(0), np.zeros(0), noise, np.zeros(0), least, turned)
    if up < least:
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
        least,
        turned,
    )


def _quietened(values: Floats, rate: float, noise: float) -> tuple[Floats, float]:
    """The values, smoothed as long as the noise needs it, and the height that a pulse must have."""
    wanted = (_NOISES * noise / _LEAST_A) ** 2
    width = max(1, round(rate * _SMOOTH_S[0]), min(int(np.ceil(wanted)), round(rate * _SMOOTH_S[1])))
    least = max(_LEAST_A, _NOISES * noise / float(np.sqrt(width)))
    if len(values) < width:
        return values, least
    return np.convolve(values, np.full(width, 1 / width), mode="same"), least


def _height(above: Floats, rate: float, least: float) -> float:
    """The usual height of what rises above zero by at least so much: that of most such blocks, so that a spike is none.

    Zero if nothing does.
    """
    width = max(1, round(_BLOCK_S * rate))
    blocks = [float(above[at : at + width].max()) for at in range(0, len(above), width)]
    high = [one for one in blocks if one >= least]
    return float(np.percentile(high, 75)) if high else 0.0


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
