"""Keeps the voice as strong against the noise as the bay needs, from what the ear measures between utterances.

The measure is how far the technician's own voice stands above the noise at the microphone. The gain of that microphone
is in both, so it cancels, and the technician's voice is what one hears there as a rule: who cannot be told from the
noise cannot hear a voice of the same loudness in it either.

The ear measures only while it listens, and without a headset it does not listen while the assistant speaks, so the
assistant's own voice is never taken for noise.

None of this reaches the dialogue: what is said, decided and recorded does not depend on how it sounds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.speaking.shaping import LEVELS, UNKNOWN, level_for

if TYPE_CHECKING:
    from assistant.speaking.voice import Voice

RISES_AFTER = 10
"""So many reports in a row (each of 0.32 s) that ask for more before the level rises: about three seconds.

A dropped tool or a slammed door raises the ear's mean level, which falls by 4 dB a second, for no longer than that."""

FALLS_AFTER = 30
"""So many reports in a row that ask for less before the level falls: about ten seconds.

A wrench or a compressor that rests for some seconds comes back, and a voice that is too sharp in quiet is a small
harm."""


class AgainstNoise:
    """The level of shaping of one session's voice.

    Args:
        voice: The voice.
        headset: The technician hears the voice in a headset, past the noise, so it stays as it is.
    """

    def __init__(self, voice: Voice, *, headset: bool) -> None:
        self._voice = voice
        self._headset = headset
        self._level = LEVELS[0] if headset else UNKNOWN
        self._more = self._less = 0
        voice.shape_for(self._level)

    def measured(self, margin_db: float | None) -> None:
        """A report of the ear, one every 0.32 s while it listens; called on its thread.

        Args:
            margin_db: Level of near speech over the noise, dB; None before there was enough noise to tell.
        """
        if self._headset or margin_db is None:
            return
        wanted = level_for(margin_db, self._level)
        self._more = self._more + 1 if wanted > self._level else 0
        self._less = self._less + 1 if wanted < self._level else 0
        if self._more >= RISES_AFTER or self._less >= FALLS_AFTER:
            self._more = self._less = 0
            self._level = wanted
            self._voice.shape_for(wanted)
