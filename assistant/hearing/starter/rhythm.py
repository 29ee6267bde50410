"""StartCounts compressions in a crank: their rate, its error, and how sure it is.

The network's pulse and the powers of all bands swell with each compression. Their spectra are added and weighed
against slow drift; a rate gains from its own double (a swell is no sine) and loses from its half (then it is itself
the double). The highest peak is the rate. A four-stroke engine of N cylinders has N/2 compressions for
each turn of the crank (each cylinder compresses once in two turns), so ``rpm = 120 rate / N``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from assistant.hearing.starter.features import FRAME_S

if TYPE_CHECKING:
    from collections.abc import Sequence

Floats = NDArray[np.float64]

SLOWEST_HZ, FASTEST_HZ = 1.4, 22.0
SLOWEST_RPM, FASTEST_RPM = 50.0, 330.0
"""Speeds that a starter can give an engine with compression; chosen, a third beyond the typical range of 150 to 250 and
down to what a weak battery still turns.
"""

PULSE, DRIFT_HZ, DOUBLE, HALF = 0.3, 8.0, 0.5, 0.3
"""Weight of the network's pulse against the bands; rates far below this one weigh less; share of a rate's double that
it gains, and of its half that it loses. Chosen on the developing set among some thirty combinations.
"""

RUN_UP_S = 0.35
"""The beginning of a crank is left out: the engine still gathers speed."""

SHORTEST_S = 0.5
"""Less steady cranking than this gives no speed."""

LINES = 2048
"""Length of the transform, in frames: a line every 0.03 Hz."""


@dataclass(frozen=True)
class Beat:
    """Rate of compressions.

    Attributes:
        per_s: Compressions a second.
        sigma: Standard error of `per_s`.
        clear: The peak's power over that of the next other peak.
    """

    per_s: float
    sigma: float
    clear: float


def _spectrum(rows: Floats) -> Floats:
    """Power of each row at each line, rows of shape (signals, frames), relative to the row's own power."""
    count = rows.shape[1]
    steady = rows - _trend(rows)
    tapered = steady * np.hanning(count + 2)[1:-1]
    power = np.abs(np.fft.rfft(tapered, LINES)) ** 2
    return np.asarray(power / np.maximum(np.sum(tapered**2, axis=1, keepdims=True) * count, 1e-9))


def _trend(rows: Floats) -> Floats:
    """A straight line through each row."""
    time = np.linspace(-1, 1, rows.shape[1])
    slope = rows @ time / np.sum(time**2)
    return np.asarray(rows.mean(axis=1, keepdims=True) + slope[:, None] * time)


def beat_of(
    pulse: Sequence[float], bands: Sequence[NDArray[np.float32]], cylinders: int | None
) -> Beat | None:
    """The rate of compressions in a crank.

    Args:
        pulse: The network's pulse of each frame.
        bands: Logarithms of the bands' powers of each frame, each of shape (BANDS,).
        cylinders: Of the engine; they limit the rates that are possible. None if not known.

    Returns:
        None if the crank is too short or has no peak.
    """
    skip = round(RUN_UP_S / FRAME_S)
    longest = round(12.0 / FRAME_S)
    told = np.asarray(pulse[skip:][:longest], np.float64)
    seen = np.asarray(bands[skip:][:longest], np.float64)
    if told.size < SHORTEST_S / FRAME_S:
        return None
    by_pulse = _spectrum(told[None])[0]
    by_band = _spectrum(seen.T).mean(axis=0)
    hertz = np.arange(by_pulse.size) / (LINES * FRAME_S)
    total = PULSE * by_pulse / max(float(by_pulse.max()), 1e-12) + by_band / max(float(by_band.max()), 1e-12)
    total *= hertz / (hertz + DRIFT_HZ)
    low, high = _limits(cylinders)
    low = max(low, 1.5 / (told.size * FRAME_S))
    inside = (hertz >= low) & (hertz <= high)
    if not inside.any():
        return None
    scored = np.where(inside, total + DOUBLE * _doubled(total) - HALF * _halved(total), 0.0)
    peak = int(np.argmax(scored))
    if not 0 < peak < total.size - 1 or scored[peak] <= 0:
        return None
    left, top, right = total[peak - 1 : peak + 2]
    bend = left - 2 * top + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    per_s = float((peak + np.clip(shift, -1, 1)) / (LINES * FRAME_S))
    width = 2.0 / (told.size * FRAME_S)
    other = scored[np.abs(hertz - per_s) > width]
    clear = float(scored[peak] / max(float(other.max(initial=0.0)), 1e-9))
    seconds = told.size * FRAME_S
    noise = max(float(np.median(total[inside])), 1e-9)
    sigma = per_s * 0.004 + 0.35 / seconds / np.sqrt(max(scored[peak] / noise, 1.0))
    return Beat(per_s, float(sigma), clear)


def _doubled(total: Floats) -> Floats:
    """At each line the value at twice its rate, but no more than its own."""
    half = total.size // 2
    found = np.zeros_like(total)
    found[:half] = total[: 2 * half : 2]
    return np.minimum(found, total)


def _halved(total: Floats) -> Floats:
    """At each line the value at half its rate."""
    lines = np.arange(total.size)
    return np.asarray(np.interp(lines / 2, lines, total))


def _limits(cylinders: int | None) -> tuple[float, float]:
    if cylinders is None:
        return SLOWEST_HZ, FASTEST_HZ
    one = cylinders / 120
    return max(SLOWEST_HZ, SLOWEST_RPM * one), min(FASTEST_HZ, FASTEST_RPM * one)
