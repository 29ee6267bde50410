"""Sound of the assistant that leaks into its own microphone, laid beside what was played."""

from __future__ import annotations

from functools import cache

import numpy as np
import soxr

from assistant.hearing.activity import CHUNK
from assistant.hearing.baynoise import bay_noise
from assistant.hearing.sound import FULL_SCALE, RATE, Samples
from assistant.hearing_bench.leaking import LeakPath
from assistant.hearing_bench.mixing import Signal, at_level, to_samples
from assistant.speaking.voice import Voice

SPEECH_DB = -25.0
LEAD = RATE
CAUTION = "Danger. Coil and plug leads can kill. No open leads, no pacemakers. Hands and hair clear of belts."


@cache
def said(text: str) -> Signal:
    rendered = Voice().render(text)
    return np.asarray(soxr.resample(rendered.samples / FULL_SCALE, rendered.rate, RATE), np.float64)


class Leaked:
    """Texts that are spoken one after the other, as microphone and player have them.

    Args:
        texts: What the assistant says.
        path: The way to the microphone.
        leak_db: Level of what arrives relative to a technician's speech; None for nothing.
        noise_db: Level of that speech over the noise.
    """

    def __init__(
        self, texts: tuple[str, ...], path: LeakPath, leak_db: float | None, noise_db: float
    ) -> None:
        spoken = np.concatenate([np.concatenate([said(text), np.zeros(RATE)]) for text in texts])
        arrived = path.heard(spoken)
        length = -(-(LEAD + len(arrived) + RATE) // CHUNK) * CHUNK
        self.mixed = bay_noise("pink", length / RATE, RATE, 9) * 10 ** ((SPEECH_DB - noise_db) / 20)
        if leak_db is not None:
            self.mixed[LEAD : LEAD + len(arrived)] += at_level(arrived, SPEECH_DB + leak_db)
        beside = np.zeros(length)
        beside[LEAD : LEAD + len(spoken)] = spoken
        self._beside = to_samples(beside)

    def speak_over(self, speech: Signal, at_s: float) -> None:
        """A technician speaks at their level."""
        at = round(at_s * RATE)
        self.mixed[at : at + len(speech)] += at_level(speech, SPEECH_DB)

    @property
    def heard(self) -> Samples:
        """The microphone's samples."""
        return to_samples(self.mixed)

    def between(self, start: int, end: int) -> Samples:
        """What was played, as an `OwnVoice` asks for it."""
        found = np.zeros(end - start, np.int16)
        piece = self._beside[max(0, start) : max(0, end)]
        found[max(0, -start) : max(0, -start) + piece.size] = piece
        return found
