"""Tells whether the bay is too loud to hear anything, and how loud it is just now."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.activity import CHUNK_S, DEFAULT_TIMING, EarTiming, Levels
from assistant.hearing.levels import LevelOf, LevelWatch, Trouble, cure
from assistant.hearing.sound import level_db

if TYPE_CHECKING:
    from assistant.core.values.thresholds import Thresholds
    from assistant.hearing.sound import Samples


class NoiseWatch:
    """Whether hearing is hopeless, from the noise level alone, with hysteresis in level and in time.

    Speech is expected at `Thresholds.speech_level_db` until it has been measured, then at the running mean of
    the phrases that were understood (new ones weigh a quarter).
    """

    def __init__(self, thresholds: Thresholds, timing: EarTiming = DEFAULT_TIMING) -> None:
        self._thresholds = thresholds
        self._holds_s = timing.noise_holds_s
        self._speech_db = thresholds.speech_level_db
        self._other_for_s = 0.0
        self.hopeless = False

    def spoken_at(self, speech_db: float | None) -> None:
        """A phrase was understood that was spoken at this level."""
        if speech_db is not None:
            self._speech_db += 0.25 * (speech_db - self._speech_db)

    def margin_db(self, noise_db: float) -> float:
        """Level of the expected speech over a noise, dB."""
        return self._speech_db - noise_db

    def changed(self, noise_db: float) -> bool | None:
        """Called for each chunk between utterances: the new state when it has changed, else None."""
        expected_db = self.margin_db(noise_db)
        limits = self._thresholds
        other = (
            expected_db >= limits.hopeful_snr_db if self.hopeless else expected_db < limits.hopeless_snr_db
        )
        self._other_for_s = self._other_for_s + CHUNK_S if other else 0.0
        if self._other_for_s < self._holds_s:
            return None
        self._other_for_s = 0.0
        self.hopeless = not self.hopeless
        return self.hopeless


class Loudness:
    """Loudness of the bay and of speech in it, from the chunks of an ear.

    Args:
        thresholds: The dialogue's limits.
        timing: Time constants.

    Attributes:
        levels: Levels of noise and speech.
    """

    def __init__(self, thresholds: Thresholds, timing: EarTiming = DEFAULT_TIMING) -> None:
        self.levels = Levels(timing)
        self._watch = NoiseWatch(thresholds, timing)
        self._levels_watch = LevelWatch()
        self._recent: deque[Samples] = deque(maxlen=10)

    @property
    def noise_db(self) -> float:
        """Noise level, dB relative to full scale."""
        return self.levels.noise_db

    @property
    def margin_db(self) -> float | None:
        """Level of the expected speech over the noise, dB; None before there was enough noise to tell."""
        return self._watch.margin_db(self.noise_db) if self.levels.settled else None

    def metered(self, chunk: Samples) -> float | None:
        """The next chunk; at every tenth the level of the last ten, dB relative to full scale, else None."""
        self._recent.append(chunk)
        if len(self._recent) != self._recent.maxlen:
            return None
        level = level_db(np.concatenate(self._recent))
        self._recent.clear()
        return level

    def between(self, chunk: Samples, *, noise: bool) -> bool | None:
        """A chunk between utterances: whether hearing is hopeless when that has changed, else None.

        Args:
            chunk: The chunk.
            noise: It holds no speech at all, so its level counts.
        """
        if noise:
            self.levels.noise(chunk)
        return self._watch.changed(self.noise_db) if self.levels.settled else None

    def level_changed(self, level: LevelOf) -> tuple[str, str] | None:
        """Somebody spoke at this level of the microphone: its trouble ("" for none) and why, if that has changed."""
        if not self._levels_watch.spoken(level):
            return None
        trouble = self._levels_watch.trouble
        return (trouble, cure(trouble, level)) if trouble else ("", level.told(Trouble.QUIET))

    def understood(self) -> None:
        """The last utterance was understood: expect speech at its level."""
        self._watch.spoken_at(self.levels.speech_db())
