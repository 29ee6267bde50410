"""What a captured ramp shows, with probabilities: the physical shapes that fit it, and what people would call them.

A winding on a voltage rises as ``A (1 - exp(-t/T))`` (`assistant.circuit.winding`); a driver that limits cuts that off
at a flat top; shorted turns or a leak add a step at the very beginning. Every shape of that family on a grid (time
constant, moment of the limit, beginning, and the clamp's own time constant) is compared with the mean of the captured
dwells, and weighs as much as it fits. What each shape would be called is asked of the circuit model
(`assistant.circuit.instruments.ramp`), which says the same of its own curves. The sum over the shapes is the
probability of each answer; below `SURE` the answer is "not sure".

Without pulses only the level counts, and the clamp's zero may have drifted (`ZERO_A`).
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.instruments.ramp import ClampScope, Ramp
from assistant.meter.dwells import CurrentCapture, Dwells, dwells

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SURE = 0.85
"""A less probable answer is not proposed; chosen."""
ZERO_A = ((0.75, 0.15), (0.25, 0.5))
"""The zero of a clamp that was zeroed: weights and standard deviations in A. Most keep it to a tenth of an ampere or
two, some drift by half an ampere as they warm up; chosen, from memory of ordinary clamps."""
FLOWS = 0.5
"""How probable it is beforehand that a current flows between the dwells; it may then have any value to `MOST_A`."""
MOST_A = 15.0
MISFIT = 0.02
"""Part of the peak by which a true ramp may lie off every shape of the family; chosen."""
INDEPENDENT = 25
"""Samples of a dwell that count as independent evidence: neighbours err together; chosen."""
FEWEST_DWELLS = 3
SHORTEST_S = 0.5
"""A capture must be so long: at the slowest cranking a dwell comes every third of a second."""
UNSEEN_A = 0.45
"""Where pulses of this height would go unseen, nothing seen does not mean no current."""
SLOWEST_RATE = 4000.0
"""Samples a second below which a rise of a millisecond is not resolved."""

ENOUGH_RATE = 20000.0
"""Samples a second that are looked at; more only cost time."""

OUTCOMES = ClampScope.outcomes


@dataclass(frozen=True)
class RampAnswer:
    """What a capture shows.

    Attributes:
        outcome: One of the outcomes of ``clamp-scope`` in terms.yaml; "" for not sure.
        probability: Of the most probable outcome, also if it is not sure.
        shares: Probability of each outcome.
        dwells: Number of dwells on which it rests.
        peak_a: Height of the dwells above the level between them, in A; 0 without dwells.
        level_a: Current between the dwells in A, as the clamp showed it.
        limit_ms: Time from the rise to the flat top in ms; None if there probably is none.
        why: A sentence to be written: why it is not sure, or that the clamp is the wrong way round; "" else.
    """

    outcome: str
    probability: float
    shares: Mapping[str, float]
    dwells: int
    peak_a: float
    level_a: float
    limit_ms: float | None
    why: str


def classified(capture: CurrentCapture) -> RampAnswer:
    """Say what a capture shows."""
    even = dict.fromkeys(OUTCOMES, 1 / len(OUTCOMES))
    unsure = RampAnswer("", 1 / len(OUTCOMES), even, 0, 0.0, 0.0, None, "")
    if capture.rate < SLOWEST_RATE:
        return _because(unsure, f"{capture.rate:.0f} samples a second do not resolve the rise of a current.")
    if capture.duration_s < SHORTEST_S or not np.all(np.isfinite(capture.ampere)):
        return _because(unsure, "The capture is too short, or has gaps.")
    found = dwells(thinned(capture))
    if found.count == 0 and found.least > UNSEEN_A:
        return _because(unsure, "Too much noise to see a small current.")
    if found.count == 0:
        return _judged(_still(found.level), found, None, "")
    if found.count < FEWEST_DWELLS:
        return _because(unsure, "Too few dwells: crank longer.")
    shares, limit_s, misfit = _fitted(found)
    if misfit > _STRANGE:
        return _because(unsure, "This is no shape that a coil's current has.")
    return _judged(shares, found, limit_s, "The clamp is the wrong way round." if found.reversed else "")


def thinned(capture: CurrentCapture) -> CurrentCapture:
    """The same with about `ENOUGH_RATE`, which is kept and looked at: the mean of neighbours."""
    each = max(1, int(capture.rate / ENOUGH_RATE))
    whole = len(capture.ampere) // each * each
    return CurrentCapture(capture.ampere[:whole].reshape(-1, each).mean(axis=1), capture.rate / each)


_STRANGE = 0.12
"""Root mean square of what no shape explains, as a share of the peak: from here on nothing is said."""


def _because(answer: RampAnswer, why: str) -> RampAnswer:
    return RampAnswer(
        "", answer.probability, answer.shares, answer.dwells, answer.peak_a, answer.level_a, None, why
    )


def _judged(shares: Floats, found: Dwells, limit_s: float | None, why: str) -> RampAnswer:
    best = int(np.argmax(shares))
    sure = float(shares[best]) >= SURE
    return RampAnswer(
        OUTCOMES[best] if sure else "",
        float(shares[best]),
        dict(zip(OUTCOMES, map(float, shares), strict=True)),
        found.count,
        float(found.ampere.max()) if found.count else 0.0,
        found.level,
        None if limit_s is None or OUTCOMES[best] not in ("flat-top", "at-once") else 1e3 * limit_s,
        why if sure else "Two answers fit about as well.",
    )


def _levels(level: float) -> tuple[Floats, Floats]:
    """What the current between the dwells may be in A, given what the clamp shows, and how probable each is.

    Nothing and a drifted zero, or a current; see `ZERO_A` and `FLOWS`.
    """
    step = 0.05
    current = np.arange(step / 2, max(MOST_A, abs(level)), step)
    weights = FLOWS * step / MOST_A * _zero(abs(level) - current)
    return np.append(0.0, current), np.append((1 - FLOWS) * _zero(np.array([level])), weights)


def _zero(off: Floats) -> Floats:
    """Density of the clamp's zero."""
    parts = [weight / wide * np.exp(-0.5 * (off / wide) ** 2) for weight, wide in ZERO_A]
    return np.asarray(sum(parts), float)


def _still(level: float) -> Floats:
    """Shares of the answers for a current that does not pulse."""
    size, weights = _levels(level)
    told = Ramp(size, size, np.full(len(size), np.inf), np.zeros(len(size))).honest(OUTCOMES)
    return np.asarray(np.average(told, axis=0, weights=weights))


_CONSTANTS_S = np.geomspace(0.15e-3, 30e-3, 14)
_CLAMPS_S = (0.01e-3, 0.05e-3, 0.15e-3, 0.4e-3)
"""Time constants of clamps: 16 kHz to 400 Hz."""
_LIMITS = (8, 24)
"""Moments of the limit that are tried: within the first millisecond, where each tenth counts, and after it."""
_LIMITED = 0.5
"""How probable a limit is beforehand."""


@dataclass(frozen=True, eq=False)
class _Fits:
    """Shapes and how well they fit; arrays of shape ``(n,)``.

    Attributes:
        square: Mean square of what each does not explain, in A squared.
        prior: Weight beforehand.
        limit_s: Moment of the limit; infinite without one.
        on_s: Time from the rise to the end.
        peak: Height at the end, in A.
    """

    square: Floats
    prior: Floats
    limit_s: Floats
    on_s: Floats
    peak: Floats


def _fitted(found: Dwells) -> tuple[Floats, float | None, float]:
    """Shares of the answers, the moment of the limit, and the misfit of the best shape as a share of the peak."""
    parts = [_fits(found, start, clamp) for start in _starts(found) for clamp in _CLAMPS_S]
    square = np.concatenate([part.square for part in parts])
    prior, limit, on, peak = (
        np.concatenate([getattr(part, name) for part in parts])
        for name in ("prior", "limit_s", "on_s", "peak")
    )
    top = float(found.ampere.max())
    variance = (MISFIT * top) ** 2 + found.noise**2 / found.count
    count = min(INDEPENDENT, len(found.time))
    weight = prior * np.exp(-0.5 * count * (square - square.min()) / variance)
    weight /= weight.sum()
    kept = weight > 1e-5 * weight.max()
    weight, limit, on, peak = (values[kept] for values in (weight, limit, on, peak))
    flat = np.where(np.isfinite(limit), on - np.minimum(limit, on), 0.0)
    shares = np.zeros(len(OUTCOMES))
    flowing, likely = _levels(max(0.0, found.level))
    for least, share in _coarse(flowing, likely / likely.sum()):
        between = np.full(len(peak), least)
        shares += share * (weight @ Ramp(peak + least, between, limit, flat).honest(OUTCOMES))
    shares /= shares.sum()
    limited = np.isfinite(limit)
    moment = (
        float(np.average(limit[limited], weights=weight[limited])) if weight[limited].sum() > 0.5 else None
    )
    return shares, moment, float(np.sqrt(square.min())) / top


def _coarse(flowing: Floats, likely: Floats) -> list[tuple[float, float]]:
    """The probable ones of these currents, in groups of 0.2 A: the mean and the sum of each."""
    groups = np.append(-1, (flowing[1:] / 0.2).astype(int))
    found = []
    for group in np.unique(groups):
        here = groups == group
        whole = float(likely[here].sum())
        if whole > 1e-3:
            found.append((float(flowing[here] @ likely[here]) / whole, whole))
    return found


def _starts(found: Dwells) -> Floats:
    """Moments at which the rise may begin: around the last time that the current was near its level."""
    top = float(found.ampere.max())
    low = np.flatnonzero(found.ampere < 0.08 * top)
    left = float(found.time[low[-1]]) if len(low) else float(found.time[0])
    step = max(float(found.time[1] - found.time[0]), 0.05e-3)
    return np.asarray(left + step * np.arange(-6, 3), float)


def _fits(found: Dwells, start: float, clamp_s: float) -> _Fits:
    """All time constants and limits for one beginning and one clamp: least squares for rise and step, none negative."""
    since = found.time - start
    on_s = float(since[-1])
    limits = _limits(on_s)
    tau, limit = (one.ravel() for one in np.meshgrid(_CONSTANTS_S, limits, indexing="ij"))
    step_of_time = float(found.time[1] - found.time[0])
    rise = _through(
        clamp_s, step_of_time, np.where(since > 0, 1 - np.exp(-_until(since, limit) / tau[:, None]), 0.0)
    )
    jump = _through(clamp_s, step_of_time, (since > 0).astype(float)[None, :])[0]
    target = found.ampere
    rr, jj, rj = (rise**2).sum(axis=1), float(jump @ jump), rise @ jump
    ry, jy = rise @ target, float(jump @ target)
    determinant = np.maximum(rr * jj - rj**2, 1e-12)
    height, step = (jj * ry - rj * jy) / determinant, (rr * jy - rj * ry) / determinant
    alone = ry / np.maximum(rr, 1e-12)
    height, step = np.where(step < 0, alone, height), np.where(step < 0, 0.0, step)
    step = np.where(height < 0, jy / max(jj, 1e-12), step)
    height = np.maximum(height, 0.0)
    curve = height[:, None] * rise + step[:, None] * jump
    square = ((curve - target) ** 2).mean(axis=1)
    prior = np.where(np.isfinite(limit), _LIMITED / (len(limits) - 1), 1 - _LIMITED) / len(_CONSTANTS_S)
    return _Fits(square, prior, limit, np.full(len(limit), on_s), curve[:, -1])


def _limits(on_s: float) -> Floats:
    """Moments of the limit, and none."""
    late = np.linspace(1.2e-3, on_s, _LIMITS[1], endpoint=False) if on_s > 1.5e-3 else np.zeros(0)
    early = np.geomspace(0.02e-3, min(1e-3, max(on_s, 0.03e-3)), _LIMITS[0])
    return np.concatenate([early, late, [np.inf]])


def _until(since: Floats, limit: Floats) -> Floats:
    return np.asarray(np.minimum(np.maximum(since, 0.0)[None, :], limit[:, None]), float)


def _through(clamp_s: float, step_s: float, curves: Floats) -> Floats:
    """Curves as a clamp with this time constant shows them, shape ``(n, t)``."""
    matrix = _low_pass(curves.shape[1], round(step_s * 1e9), clamp_s)
    return curves @ matrix.T


@functools.lru_cache(maxsize=16)
def _low_pass(count: int, step_ns: int, clamp_s: float) -> Floats:
    """Exponential average as a matrix, shape ``(t, t)``."""
    kept = float(np.exp(-step_ns * 1e-9 / clamp_s))
    late = np.arange(count)[:, None] - np.arange(count)[None, :]
    return np.asarray(np.where(late >= 0, (1 - kept) * kept ** np.maximum(late, 0), 0.0), float)
