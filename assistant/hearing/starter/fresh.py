"""The network with fresh ears: it never remembers more than some seconds while nothing turns.

A network that listens on grows deaf. Made-up starts in sessions of 150 s, 20 dB over the bay's noise (17 to 48 of them
each), were believed within 1.5 s of their beginning by a network that had heard the bay before for 2, 4, 8, 12, 16,
20 s: 100, 100, 88, 48, 24, 18 %. It was trained on scenes of 16 s. So a second network begins anew every few seconds
and listens along, and while no starter turns it takes the place of the first.
"""

from __future__ import annotations

from assistant.hearing.starter.features import FRAME_S, Floats, SlowMean
from assistant.hearing.starter.network import FrameSays, StarterNetwork

HEARD_S = 4.0
"""The network that is asked has heard so much at least, and while no starter turns twice as much at most.

With 2 s more sounds deceive it. With 8 s it believed 27 of 40 later starts of those sessions, and with 4 s 36, though
then a beginning had to be surer (`certainty.RARER`)."""


class _Hearer:
    """A network with the slow mean that its bands are compared with."""

    def __init__(self) -> None:
        self._mean = SlowMean()
        self._network = StarterNetwork()

    def hear(self, bands: Floats) -> tuple[Floats, FrameSays]:
        relative = self._mean.relative(bands)
        return relative, self._network.hear(relative)


class FreshNetwork:
    """Hears frame by frame for any time."""

    def __init__(self) -> None:
        self._first, self._second = _Hearer(), _Hearer()
        self._heard = 0

    def hear(self, bands: Floats, *, still: bool) -> tuple[Floats, FrameSays]:
        """Hear the next frame.

        Args:
            bands: Of shape (BANDS,), as `features.FrameMaker` makes them.
            still: No starter turns; only then may the second network take over.

        Returns:
            The bands over their mean, and what the frame `network.DELAY` before this one holds.
        """
        self._heard += 1
        if self._heard * FRAME_S >= HEARD_S:
            self._heard = 0
            if still:
                self._first = self._second
            self._second = _Hearer()
        self._second.hear(bands)
        return self._first.hear(bands)
