"""The microphone's level: lifted for voice activity, and watched for what a turn of a knob would mend."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.activity import CHUNK_S
from assistant.hearing.foreground import FRAME, levels, loudness
from assistant.hearing.sound import FULL_SCALE, SILENCE_DB, level_db

if TYPE_CHECKING:
    from assistant.hearing.sound import Samples

# --- for voice activity ---------------------------------------------------------------------------

LIFTED_FLOOR_DB = -55.0
"""The quietest sound is lifted to no more than this; hiss of that level is no speech to the model."""

LIFTED_VOICE_DB = -24.0
"""The loudest sound is lifted to no more than this."""

MOST_LIFT_DB = 40.0

FLOOR_RISES_DB = 1.5
"""By so much a second the floor may rise, dB; it falls at once."""

VOICE_FALLS_DB = 0.5
"""By so much a second the loudest level is forgotten, dB."""


class Lift:
    """Makes the sound of a quiet microphone louder for the voice-activity model; for one thread.

    The model hears speech at -35 dB and louder, and next to none at -62 dB (share of its chunks that it took for
    speech, six synthetic voices, six phrases each: 90 % at -35, 82 at -45, 67 at -52, 24 at -62 and 4 at -68 dB).
    Sound is never made quieter.
    """

    def __init__(self) -> None:
        self._floor = 0.0
        self._loudest = SILENCE_DB

    def lifted(self, chunk: Samples) -> Samples:
        """The chunk, made louder; each is given once, in their order."""
        level = float(levels(chunk)[: chunk.size // FRAME].max(initial=SILENCE_DB))
        self._floor = min(level, self._floor + FLOOR_RISES_DB * CHUNK_S)
        self._loudest = max(level, self._loudest - VOICE_FALLS_DB * CHUNK_S)
        gain = min(LIFTED_FLOOR_DB - self._floor, LIFTED_VOICE_DB - self._loudest, MOST_LIFT_DB)
        if gain <= 0:
            return chunk
        loud = np.rint(chunk * 10 ** (gain / 20))
        return np.asarray(np.clip(loud, -FULL_SCALE, FULL_SCALE - 1), np.int16)


# --- for people -----------------------------------------------------------------------------------

QUIET_DB = -50.0
"""Level of a voice, by `loudness`, under which the microphone is too quiet: its own noise is then near."""

FINE_QUIET_DB = -46.0
"""Level from which it is no longer too quiet; higher, so that the telling does not flap."""

CLIPPED_SHARE = 0.01
"""Share of samples at full scale, in the loud frames of speech, from which the microphone is overdriven."""

FINE_CLIPPED_SHARE = 0.002

FULL = 0.985
"""Share of full scale from which a sample counts as cut off."""

HUM_DB = -30.0
"""Hum and a constant offset, outside the frequencies of speech, are told from this level on, if they are also at least
as loud as the voice."""

OF_LAST = 3
"""The last so many utterances are looked at."""

AGREE = 2
"""So many of them must agree."""


class Trouble(StrEnum):
    """What is wrong with the level of a microphone."""

    QUIET = "quiet"
    CLIPPED = "clipped"
    HUM = "hum"


@dataclass(frozen=True)
class LevelOf:
    """What a piece of speech says about the microphone.

    Attributes:
        voice_db: Level of the voice, by `loudness`.
        clipped: Share of samples at full scale in its loud frames, 0 to 1.
        hum_db: Level of all its sound that is outside the frequencies of speech, dB relative to full scale.
    """

    voice_db: float
    clipped: float
    hum_db: float

    @classmethod
    def of(cls, samples: Samples) -> LevelOf:
        """Of a piece of sound with speech in it."""
        found = levels(samples)
        voice = loudness(found)
        whole = np.abs(samples[: samples.size // FRAME * FRAME].astype(np.int32)).reshape(-1, FRAME)
        loud = whole[found[: len(whole)] >= voice - 6]
        clipped = float(np.mean(loud >= FULL * FULL_SCALE)) if loud.size else 0.0
        inside = float(np.mean(10 ** (found / 10))) if found.size else 0.0
        rest = max(0.0, 10 ** (level_db(samples) / 10) - inside)
        return cls(voice, clipped, max(SILENCE_DB, 10 * float(np.log10(rest + 1e-12))))

    @property
    def trouble(self) -> Trouble | None:
        """What should be mended first; None if the level is good enough."""
        if self.clipped >= CLIPPED_SHARE:
            return Trouble.CLIPPED
        if self.hum_db >= HUM_DB and self.hum_db >= self.voice_db:
            return Trouble.HUM
        return Trouble.QUIET if self.voice_db < QUIET_DB else None

    @property
    def fine(self) -> bool:
        """Whether the level is clear of every limit."""
        return self.trouble is None and self.voice_db >= FINE_QUIET_DB and self.clipped < FINE_CLIPPED_SHARE

    def told(self, trouble: Trouble) -> str:
        """The figure of a trouble, for people."""
        match trouble:
            case Trouble.QUIET:
                return f"speech at {self.voice_db:.0f} dB of full scale"
            case Trouble.CLIPPED:
                return f"{100 * self.clipped:.0f} % of loud speech is cut off"
            case Trouble.HUM:
                return f"hum or an offset of {self.hum_db:.0f} dB"


_CURES = {
    Trouble.QUIET: "Turn up its recording level or boost, or hold it nearer",
    Trouble.CLIPPED: "Turn down its recording level or boost, or hold it farther away",
    Trouble.HUM: "Use another cable, plug or input",
}


def cure(trouble: Trouble, level: LevelOf) -> str:
    """A sentence with the figure of a trouble, and one with what to turn."""
    told = level.told(trouble)
    return f"{told[0].upper()}{told[1:]}. {_CURES[trouble]}."


class LevelWatch:
    """Whether the microphone's level is in trouble, from its last utterances: told once until it was better."""

    def __init__(self) -> None:
        self._last: deque[LevelOf] = deque(maxlen=OF_LAST)
        self.trouble: Trouble | None = None

    def spoken(self, level: LevelOf) -> bool:
        """Somebody spoke at this level; whether `trouble` has changed."""
        self._last.append(level)
        if self.trouble is not None:
            if sum(one.fine for one in self._last) >= AGREE:
                self.trouble = None
                return True
            return False
        for trouble in Trouble:
            if sum(one.trouble is trouble for one in self._last) >= AGREE:
                self.trouble = trouble
                return True
        return False
