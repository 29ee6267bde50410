"""Rendered speech: samples, their rate, and the text that they say."""

from __future__ import annotations

import importlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.int16]


@dataclass(frozen=True, eq=False)
class SpokenSound:
    """A rendered utterance: mono 16-bit `samples` at `rate` hertz, and the `text` that they say."""

    samples: Samples
    rate: int
    text: str

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.rate


def resample(samples: Samples, rate: int, to_rate: int) -> Samples:
    """Mono 16-bit samples at another rate."""
    if rate == to_rate or not len(samples):
        return samples
    soxr = importlib.import_module("soxr")  # late: 20 ms that a text-only command need not pay
    fitted: Samples = soxr.resample(samples, rate, to_rate)
    return fitted
