"""Something to say, somebody who waits for its end, and a clock for both."""

from __future__ import annotations

import threading

import numpy as np

from assistant.speaking.speech import SpokenSound

RATE = 8000


def tone(seconds: float, rate: int = RATE) -> SpokenSound:
    """Something loud from the first sample to the last."""
    return SpokenSound(np.full(round(seconds * rate), 10000, np.int16), rate, "tone")


class Ended:
    """Collects `on_finished` and lets a test wait for it."""

    def __init__(self) -> None:
        self.cuts: list[bool] = []
        self._come = threading.Event()

    def __call__(self, cut: bool) -> None:
        """Note the end."""
        self.cuts.append(cut)
        self._come.set()

    def wait(self) -> list[bool]:
        """All ends so far, at least one."""
        assert self._come.wait(timeout=5)
        return self.cuts


class Clock:
    """A clock that stands still until it is set."""

    def __init__(self) -> None:
        self.now = 10.0

    def __call__(self) -> float:
        """The time, s."""
        return self.now
