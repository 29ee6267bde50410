"""Rates with their intervals, and ESTOI, which needs no listener."""

from __future__ import annotations

import importlib
import warnings
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from assistant.hearing_bench.listening.noise import RATE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.hearing_bench.mixing import Signal

_DRAWS = 2000
_SHORTEST_S = 0.4
"""ESTOI compares pieces of 384 ms; shorter speech has none."""


class Rate(NamedTuple):
    """A share with its 95 % interval."""

    share: float
    low: float
    high: float

    def per_cent(self) -> str:
        """As "6 (2-11)"; "-" if nothing was counted."""
        if np.isnan(self.share):
            return "-"
        return f"{100 * self.share:.0f} ({100 * self.low:.0f}-{100 * self.high:.0f})"


def rate(counts: Sequence[tuple[int, int]]) -> Rate:
    """The share of so many of so many, summed over sentences, with a bootstrap interval.

    The interval draws whole sentences with replacement 2,000 times (percentile bootstrap, Efron 1979), because words
    of one sentence are missed together.

    Args:
        counts: For each sentence, how many count and of how many.
    """
    table = np.asarray(counts, float).reshape(-1, 2)
    if not table.size or not table[:, 1].sum():
        return Rate(float("nan"), float("nan"), float("nan"))
    drawn = np.random.default_rng(1).integers(len(table), size=(_DRAWS, len(table)))
    sums = table[drawn].sum(axis=1)
    low, high = np.percentile(sums[:, 0] / np.maximum(sums[:, 1], 1), [2.5, 97.5])
    whole = table.sum(axis=0)
    return Rate(float(whole[0] / whole[1]), float(low), float(high))


def missing_estoi() -> str:
    """The reason why ESTOI is left out, as a sentence; "" if it is there."""
    try:
        importlib.import_module("pystoi")
    except (ImportError, OSError) as error:
        return f"ESTOI is left out: {error}. Install it with: pip install 'bay-assistant[listener]'."
    return ""


def estoi(clean: Signal, noisy: Signal) -> float | None:
    """Extended short-time objective intelligibility (Jensen and Taal 2016) by the library pystoi.

    Args:
        clean: The speech as it was before any shaping and noise, at `RATE`.
        noisy: The same speech as it reaches the ear, as long.

    Returns:
        About 0 (nothing) to 1 (everything); None for speech that is too short for it.
    """
    library: Any = importlib.import_module("pystoi")
    if len(clean) < _SHORTEST_S * RATE:
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)  # its sign for too little speech
        try:
            return float(library.stoi(clean, noisy, RATE, extended=True))
        except RuntimeWarning:
            return None
