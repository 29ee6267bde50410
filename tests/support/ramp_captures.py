"""Captures of a clamp as the circuit model would give them: a period of its coil current, repeated, through a clamp."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.core.library.procedure import Engine, Measurement
from assistant.meter.dwells import CurrentCapture

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.circuit.tracing import Trace

    Floats = NDArray[np.float64]

CIRCUIT = "coil-with-external-driver"
MEASURED = Measurement("clamp-scope", None, "feed-wire", Engine.CRANKING)
_FINER = 10


@dataclass(frozen=True)
class Clamp:
    """A clamp and the device that samples it.

    Attributes:
        rate: Samples a second.
        hertz: Bandwidth of the clamp: a first-order low pass.
        noise_a: Standard deviation of each sample.
        zero_a: Standard deviation of its zero; half of that as drift over the capture.
        gain: Standard deviation of its gain.
    """

    rate: int = 20000
    hertz: float = 5000.0
    noise_a: float = 0.05
    zero_a: float = 0.1
    gain: float = 0.01


def through(clamp: Clamp, current: Floats, chance: np.random.Generator) -> CurrentCapture:
    """What the clamp shows of a current that is sampled `_FINER` times as finely."""
    kept = np.exp(-2 * np.pi * clamp.hertz / (clamp.rate * _FINER))
    late = np.arange(max(2, round(8 / (1 - kept))))
    shown = np.convolve(current, (1 - kept) * kept**late)[: len(current)][::_FINER]
    count = len(shown)
    zero = chance.normal(0, clamp.zero_a) + np.linspace(0, chance.normal(0, clamp.zero_a / 2), count)
    values = shown * (1 + chance.normal(0, clamp.gain)) + zero + chance.normal(0, clamp.noise_a, count)
    return CurrentCapture(values, float(clamp.rate))


def captured(trace: Trace, clamp: Clamp, chance: np.random.Generator, seconds: float = 1.5) -> CurrentCapture:
    """A capture of a cranking engine whose coil current is this trace; it begins anywhere in the period."""
    period = float(trace.time[-1] - trace.time[0])
    fine = np.arange(round(clamp.rate * _FINER * seconds)) / (clamp.rate * _FINER)
    at = (fine + chance.uniform(0, period)) % period
    return through(clamp, np.interp(at, trace.time - trace.time[0], trace.current_a), chance)


def pulses(
    height: Floats, every_s: float, seconds: float, clamp: Clamp, chance: np.random.Generator
) -> CurrentCapture:
    """A capture in which this course of the current, sampled finely, comes again and again; nothing between."""
    count = round(clamp.rate * _FINER * seconds)
    one = np.zeros(round(every_s * clamp.rate * _FINER))
    one[len(one) // 2 : len(one) // 2 + len(height)] = height
    return through(clamp, np.tile(one, count // len(one) + 1)[:count], chance)


def fine_time(clamp: Clamp, seconds: float) -> Floats:
    """Times of the fine samples of one course."""
    return np.arange(round(seconds * clamp.rate * _FINER)) / (clamp.rate * _FINER)
