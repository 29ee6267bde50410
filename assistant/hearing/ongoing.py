"""Whether speech was going on already when listening began, so that its beginning is lost."""

from __future__ import annotations

from assistant.hearing.activity import CHUNK_S, DEFAULT_TIMING, EarTiming

GOES_ON_IN = 1
"""Speech that goes on unbroken since the first or second chunk of listening began before it.

The voice-activity model goes on to hear the assistant's own voice for up to 0.1 s after its end, so an answer that
follows within 0.15 s can count as begun before. Of made-up answers over the assistant's voice in rooms (four voices,
reverberation 0.3 and 0.8 s, noise 20 and 8 dB under them) 92 to 100 % were found; of answers that began 0.13 s after
its end 14 to 36 % counted as begun before, after 0.17 s up to 7 %, after 0.2 s none."""

TAKEN_UP_S = 0.4
"""Somebody who was talked over and speaks so soon after listening began may go on where they were.

The pause inside "twelve point … four" can lie just where the microphone opens. People leave about 0.2 s between turns,
and somebody who begins anew has first to notice that the assistant has ended (chosen)."""

BEGINS_IN = 2
"""Chunks of speech after which an answer may be about to begin."""


class Ongoing:
    """Counts chunks of speech, also while nobody listens; for one thread."""

    def __init__(self, timing: EarTiming = DEFAULT_TIMING) -> None:
        self._speech_at = timing.begin_at
        self._listened = self._spoken = 0
        self._talked_over = False

    def listens(self) -> None:
        """Listening begins with the next chunk."""
        self._listened = 0

    def closes(self, *, inside: bool) -> None:
        """Listening ends before the next chunk.

        Args:
            inside: An utterance has begun and not ended. One may also be about to begin.
        """
        begins = self._spoken >= BEGINS_IN and self._listened - self._spoken > GOES_ON_IN
        self._talked_over = inside or begins

    def count(self, probability: float) -> None:
        """The next chunk's probability of speech; each is given once, in their order."""
        self._listened += 1
        self._spoken = self._spoken + 1 if probability >= self._speech_at else 0

    def began(self) -> bool:
        """An utterance begins with the speech up to the last chunk: whether that was going on before listening."""
        within = TAKEN_UP_S / CHUNK_S if self._talked_over else GOES_ON_IN
        self._talked_over = False
        return self._spoken > 0 and self._listened - self._spoken <= within
