"""The network that says what each frame holds: a dense layer, gated recurrent units, and eight outputs.

`assistant.hearing_bench.starter.training` fits it, from random weights, on made-up sound only. It keeps a state from
frame to frame and answers for the frame `DELAY` before the last, so it has heard an eighth of a second more.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]

DELAY = 8
"""The network answers for so many frames before the one that it has just heard."""

SCALE = 3.0
"""Features are divided by this."""

WEIGHTS = Path(__file__).with_name("network.npz")


@dataclass(frozen=True)
class FrameSays:
    """Probabilities of one frame.

    Attributes:
        cranks: The starter turns the engine.
        runs: An engine that was started here runs.
        pulse: Nearness of a compression, 0 to 1, while it cranks.
        pump: A fuel pump hums.
        uneven: While it cranks: one cylinder is weak.
        no_rhythm: While it cranks: nothing compresses.
    """

    cranks: float
    runs: float
    pulse: float
    pump: float
    uneven: float
    no_rhythm: float


@functools.cache
def _weights() -> dict[str, Floats]:
    with np.load(WEIGHTS) as kept:
        return {name: np.ascontiguousarray(kept[name], np.float32) for name in kept.files}


def _logistic(value: Floats) -> Floats:
    return np.asarray(0.5 + 0.5 * np.tanh(0.5 * value))


class StarterNetwork:
    """Hears frame by frame."""

    def __init__(self) -> None:
        self._weights = _weights()
        self._state: Floats = np.zeros(self._weights["state"].shape[0], np.float32)

    def hear(self, relative: Floats) -> FrameSays:
        """Hear the next frame.

        Args:
            relative: Of shape (BANDS,), as `features.SlowMean` makes them.

        Returns:
            What the frame `DELAY` before it holds.
        """
        kept = self._weights
        size = self._state.size
        first = np.maximum(np.clip(relative / SCALE, -4, 4) @ kept["first"] + kept["first_bias"], 0)
        fed = first @ kept["fed"] + kept["fed_bias"]
        back = self._state @ kept["state"] + kept["state_bias"]
        gates = _logistic(fed[: 2 * size] + back[: 2 * size])
        new = np.tanh(fed[2 * size :] + gates[size:] * back[2 * size :])
        self._state = new + gates[:size] * (self._state - new)
        return _says((self._state @ kept["out"] + kept["out_bias"]).tolist())


def _says(out: list[float]) -> FrameSays:
    what = [math.exp(value - max(out[:3])) for value in out[:3]]
    kind = [math.exp(value - max(out[5:8])) for value in out[5:8]]
    return FrameSays(
        cranks=what[1] / sum(what),
        runs=what[2] / sum(what),
        pulse=0.5 + 0.5 * math.tanh(0.5 * out[3]),
        pump=0.5 + 0.5 * math.tanh(0.5 * out[4]),
        uneven=kind[1] / sum(kind),
        no_rhythm=kind[2] / sum(kind),
    )
