"""Whether a microphone hears anything at all: exact silence is none that a microphone makes.

Where a device is muted, or the sound server has put another source in its place that nothing plays into, samples go
on coming, and all of them are the same number.
A real microphone has noise; it gives exactly the same number for seconds only when nothing comes from it.
`Deafness` is that rule, without a thread and without a clock: it is told when each block came.
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from numpy.typing import NDArray

DEAF_S = 3.0
"""After so much exact silence a microphone is deaf.

With the time that it takes to be looked at and said this stays under five seconds; a person between two words, or a
sound server that drops a few blocks on a loaded machine, is far below."""

HEARS_S = 0.2
"""After so much unbroken sound a deaf microphone hears again: longer than a click of a plug or of a switch."""

STALL_S = 0.5
"""After so long without a block, what comes within as long again may still be what was recorded before.

A sound server that moves a stream gives nothing for a second or two and then, in a burst, what it held: it proves
nothing yet."""

GATE_S = 0.2
"""Exact silence of at least this length, which then ends by itself, is a gap."""

GAPS = 5
"""So many gaps within `GAPS_WITHIN_S` of sound are a noise gate: it gives exact silence whenever nobody speaks."""

GAPS_WITHIN_S = 60.0

GATED_DEAF_S = 30.0
"""A gated microphone is deaf only after this: the pause between two answers is not.

A person who probes a circuit is silent for longer at times; then the keys are offered, and speaking brings the voice
back."""


class Deafness:
    """Counts the silence of one device, over all the times that it is opened in a session.

    Attributes:
        deaf: It is deaf now.
        sounded: Something other than exact silence has come at least once.
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
        """Take in the next block as the device gave it.

        Silence is counted as it was recorded or as it was waited for, whichever is longer: a sound server that moves
        a stream to another source first gives nothing for a second or two.

        Args:
            samples: The block, before it is resampled (resampling may put a dither on silence).
            seconds: Its length.
            at: When it came, s, by a clock that never goes back.
            own_voice: The loudspeaker speaks. Sound is then no evidence of a microphone: the source may be the
                loudspeaker's own signal, which is silent but for that voice.
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
        """The device was opened again: what it gave before says nothing about what it gives now, except `deaf`."""
        self._silent_s = self._waited_s = self._sounding_s = 0.0
        self._last_at = None
        self._late_until = 0.0
