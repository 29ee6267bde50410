"""Decides whether a microphone hears anything at all: no real microphone gives exact silence.

If a device is muted, or the sound server has replaced it by a source that nothing plays into, samples keep
coming, but all of them are the same number.
A real microphone has noise; if it gives exactly the same number for seconds, it hears nothing.
`Deafness` applies that rule without a thread or a clock: its caller says when each block came.
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from numpy.typing import NDArray

DEAF_S = 3.0
"""Exact silence after which a microphone is deaf.

With the time to notice it and say so, this stays under five seconds. The pause between two words, or a few blocks
that a sound server drops on a loaded machine, is far shorter."""

HEARS_S = 0.2
"""Unbroken sound after which a deaf microphone hears again: longer than the click of a plug or switch."""

STALL_S = 0.5
"""After this long without a block, the sound of the next period of this length may be old.

A sound server that moves a stream gives nothing for a second or two and then, in a burst, the sound that it held,
which proves nothing yet."""

GATE_S = 0.2
"""Exact silence of at least this length that ends by itself is a gap."""

GAPS = 5
"""Number of gaps within `GAPS_WITHIN_S` of sound that show a noise gate, which gives exact silence whenever
nobody speaks.
"""

GAPS_WITHIN_S = 60.0

GATED_DEAF_S = 30.0
"""Exact silence after which a gated microphone is deaf; the pause between two answers is shorter.

A technician who probes a circuit is sometimes silent for longer; then the keys are offered, and speaking brings
the voice back."""


class Deafness:
    """Counts the silence of one device, however often it is opened in a session.

    Attributes:
        deaf: Whether it is deaf now.
        sounded: Whether anything other than exact silence has ever come.
    """

    def __init__(self) -> None:
        self._silent_s = 0.0
        self._waited_s = 0.0
        self._sounding_s = 0.0
        self._last_at: float | None = None
        self._late_until = 0.0
        self._gone_by_s = 0.0
        self._gaps: deque[float] = deque(maxlen=GAPS)
        self.deaf = False
        self.sounded = False

    @property
    def gated(self) -> bool:
        """Whether the gaps so far look like those of a noise gate."""
        return len(self._gaps) == GAPS and self._gone_by_s - self._gaps[0] <= GAPS_WITHIN_S

    def feed(self, samples: NDArray[Any], seconds: float, at: float, *, own_voice: bool = False) -> None:
        """Take in the next block from the device.

        Silence counts by the recording or by the clock, whichever is longer: a sound server that moves a stream
        to another source first gives nothing for a second or two.

        Args:
            samples: The block, before resampling (which may dither silence).
            seconds: Its length.
            at: Its arrival, s, by a clock that never goes back.
            own_voice: Whether the loudspeaker speaks. Sound is then not evidence of a microphone: the source may
                be the loudspeaker's own signal, which is silent except for that voice.
        """
        if not samples.size:
            return
        self._gone_by_s += seconds
        since_s = 0.0 if self._last_at is None else at - self._last_at
        self._last_at = at
        if bool((samples == samples[0]).all()):
            self._sounding_s = 0.0
            self._silent_s += seconds
            self._waited_s += since_s
            limit_s = GATED_DEAF_S if self.gated else DEAF_S
            if max(self._silent_s, self._waited_s) >= limit_s:
                self.deaf = True
            return
        self.sounded = True
        if own_voice:
            return
        if since_s >= STALL_S:
            self._late_until = at + STALL_S
        if at < self._late_until:
            self._waited_s += since_s
            return
        if GATE_S <= self._silent_s < DEAF_S and not self.deaf:
            self._gaps.append(self._gone_by_s)
        self._silent_s = self._waited_s = 0.0
        self._sounding_s += seconds
        if self._sounding_s >= HEARS_S:
            self.deaf = False

    def opened_again(self) -> None:
        """The device was opened again: forget everything about it except `deaf`."""
        self._silent_s = self._waited_s = self._sounding_s = 0.0
        self._last_at = None
        self._late_until = 0.0
