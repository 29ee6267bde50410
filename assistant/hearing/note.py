"""A voice note: free speech kept as sound, until silence or its greatest length."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.activity import CHUNK, CHUNK_S

if TYPE_CHECKING:
    from assistant.hearing.activity import EarTiming
    from assistant.hearing.sound import Samples


class NoteSound:
    """Keeps the sound of a note.

    Args:
        longest_s: Its greatest length, s.
        timing: Gives the silence that ends it.
    """

    def __init__(self, longest_s: float, timing: EarTiming) -> None:
        self._timing = timing
        self._sound: list[Samples] = []
        self._left_s = longest_s
        self._spoken = False
        self._silent_s = 0.0

    def add(self, chunk: Samples, probability: float) -> bool:
        """Keep a chunk with this probability of speech; whether the note is over."""
        self._sound.append(chunk)
        self._left_s -= CHUNK_S
        if probability >= self._timing.begin_at:
            self._spoken, self._silent_s = True, 0.0
        else:
            self._silent_s += CHUNK_S
        return (self._spoken and self._silent_s >= self._timing.note_end_s) or self._left_s <= 0

    def samples(self) -> Samples:
        """Its sound; one chunk of silence when there was none."""
        return np.concatenate(self._sound) if self._sound else np.zeros(CHUNK, np.int16)
