"""Tells speech near the microphone from talk in the background, chunk by chunk, by how loud it is.

The voice-activity model hears any speech, a radio's as well. An utterance must not begin with talk that is far quieter
than the technician, and must not be kept open by it. So a chunk of speech counts as silence if it lies far under the
voice that is speaking now, or, between utterances, far under the level at which answers were understood before.

Nobody becomes unheard by speaking softly. Each short piece of quiet speech between pauses, as a person says a word
again who gets no answer, makes the ear more lenient; talk that it hears only because of that and does not understand
makes it strict again.
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

from assistant.hearing.activity import CHUNK_S, DEFAULT_TIMING, EarTiming
from assistant.hearing.foreground import FRAME, levels
from assistant.hearing.sound import SILENCE_DB

if TYPE_CHECKING:
    from assistant.hearing.sound import Samples

BEGINS_DB = 12.0
"""A voice so far under the level of the answers before begins no utterance."""

GOES_ON_DB = 15.0
"""Sound so far under the voice of this utterance is silence."""

OVER_NOISE_DB = 4.0
"""In noise, sound no more than so much over it is silence, though the model may go on to hear speech in it."""

OVER_TALK_DB = 1.0
"""While others talk, sound no more than so much over the loudest of them is theirs."""

TALK_S, TALK_FADES = 1.2, 0.2
"""Others talk on if there was so much far speech; each second takes this share of one away."""

FADES_DB = 1.0
"""By so much a second the level of others is forgotten, dB."""

LEAST_FALL_DB = 7.0
"""But silence is at least so far under the voice."""

HOLDS_S = 0.064
"""After a loud chunk quiet ones count as near for so long: soft sounds inside and at the end of a word."""

BACKGROUND_DB = 7.0
"""A beginning so far under the level of the answers before may be somebody else's."""

RISES_DB = 6.0
"""If then a voice begins that is so much louder, and within `BACKGROUND_DB` of them, it is the technician's."""

OTHERS_S = 0.4
"""Speech that counts as such a beginning; a shorter one may be a soft first word."""

RISES_S = (0.096, 0.16)
"""For so long within so long."""

LOUDEST = 4
"""The level of a voice is that of its fourth loudest chunk: 0.13 s of it are as loud, a vowel."""

LENIENT_DB = 3.0
"""By so much the limit falls after each quiet piece that stands alone."""

MOST_LENIENT_DB = 45.0

ALONE_S = 0.45
"""Silence before and after a piece of speech that stands alone."""

PIECE_S = (0.16, 3.0)
"""Shortest and longest piece: an answer, not a knock and not a radio."""

LEARNS = 0.3
"""Weight of a new answer's level in the mean."""

MOST_RISE_DB = 6.0
"""One answer raises the mean by no more than the weight of this, as it could be a slammed door."""


class Nearness:
    """Follows the level of the technician's voice; for one thread.

    Args:
        timing: Gives the limits of probability.
    """

    def __init__(self, timing: EarTiming = DEFAULT_TIMING) -> None:
        self._timing = timing
        self._lately: deque[float] = deque(maxlen=1 + round(HOLDS_S / CHUNK_S))
        self._voice: list[float] = []
        self._expected: float | None = None
        self._background = SILENCE_DB
        self._talked_s = 0.0
        self._lenient = 0.0
        self._silent_s = ALONE_S
        self._quiet_s = 0.0
        self._alone = True

    @property
    def expected_db(self) -> float | None:
        """Level at which answers were understood, dB relative to full scale; None before the first."""
        return self._expected

    @property
    def voice_db(self) -> float | None:
        """Level of the voice of this utterance so far; None without speech."""
        return _level(self._voice)

    def probability(self, chunk: Samples, heard: float, noise_db: float, *, inside: bool) -> float:
        """Probability of near speech in a chunk: what the model heard, or 0 if it is too far away.

        Args:
            chunk: The chunk; each is given once, in their order.
            heard: Probability of any speech in it.
            noise_db: Level of the noise between utterances, dB relative to full scale.
            inside: An utterance has begun and not ended.
        """
        level = float(levels(chunk)[: chunk.size // FRAME].max(initial=SILENCE_DB))
        self._lately.append(level)
        self._follow_background(level, heard, inside=inside)
        if inside:
            if heard >= self._timing.begin_at:
                self._voice.append(level)
            voice = self.voice_db
            if voice is None:
                return heard
            others = max(noise_db + OVER_NOISE_DB, self._over_talk())
            least = max(voice - GOES_ON_DB, min(others, voice - LEAST_FALL_DB))
            return 0.0 if max(self._lately) < least else heard
        limit = SILENCE_DB
        if self._expected is not None:
            over_talk = min(self._over_talk(), self._expected - BACKGROUND_DB)
            limit = max(self._expected - BEGINS_DB, over_talk)
        loudest = max(self._lately)
        far = loudest < limit - self._lenient
        self._watch(heard, far=far)
        return 0.0 if far else heard

    def began(self) -> None:
        """An utterance has begun."""
        self._voice = list(self._lately)
        self._quiet_s, self._silent_s = 0.0, 0.0

    def understood(self) -> None:
        """The utterance that has ended was an answer."""
        voice = self.voice_db
        if voice is None:
            return
        if self._expected is None:
            self._expected = voice
        else:
            self._expected += LEARNS * min(voice - self._expected, MOST_RISE_DB)
        self._lenient = 0.0

    def not_understood(self) -> None:
        """The utterance that has ended was no answer."""
        voice = self.voice_db
        if voice is not None and self._expected is not None and voice < self._expected - BEGINS_DB:
            self._lenient = 0.0

    def _follow_background(self, level: float, heard: float, *, inside: bool) -> None:
        """Follow the loudest talk that is probably somebody else's."""
        self._background = max(SILENCE_DB, self._background - FADES_DB * CHUNK_S)
        self._talked_s = max(0.0, self._talked_s - TALK_FADES * CHUNK_S)
        voice = self.voice_db if inside else None
        far = self.is_far(level) and (voice is None or self.is_far(voice))
        if heard >= self._timing.begin_at and far:
            self._background = max(self._background, level)
            self._talked_s = min(2 * TALK_S, self._talked_s + CHUNK_S)

    def _over_talk(self) -> float:
        """Level up to which sound is talk of others; only while they talk on, and not for a word or two."""
        return self._background + OVER_TALK_DB if self._talked_s >= TALK_S else SILENCE_DB

    def is_far(self, voice_db: float) -> bool:
        """Whether a voice of this level is probably somebody else's, judged by the answers before."""
        return self._expected is not None and voice_db < self._expected - BACKGROUND_DB

    def nearer_began(self) -> bool:
        """Whether a nearer voice begins just now in an utterance that a farther one began; true once for each."""
        needed, within = (round(seconds / CHUNK_S) for seconds in RISES_S)
        others = self._voice[:-within]
        before = _level(others)
        if before is None or self._expected is None or len(others) * CHUNK_S < OTHERS_S:
            return False
        if not self.is_far(before):
            return False
        limit = max(before + RISES_DB, self._expected - BACKGROUND_DB)
        if sum(level >= limit for level in self._voice[-within:]) < needed:
            return False
        self._voice = self._voice[-within:]
        return True

    def _watch(self, heard: float, *, far: bool) -> None:
        """Between utterances: grow lenient after each piece of quiet speech that stands alone."""
        if heard >= self._timing.begin_at and far:
            if not self._quiet_s:
                self._alone = self._silent_s >= ALONE_S
            self._quiet_s += CHUNK_S + (self._silent_s if self._quiet_s else 0.0)
            self._silent_s = 0.0
            return
        if heard >= self._timing.go_on_at:
            return
        self._silent_s += CHUNK_S
        if self._quiet_s and self._silent_s >= ALONE_S:
            shortest, longest = PIECE_S
            if self._alone and shortest <= self._quiet_s + 1e-9 and self._quiet_s <= longest:
                self._lenient = min(MOST_LENIENT_DB, self._lenient + LENIENT_DB)
            self._quiet_s = 0.0


def _level(chunks: list[float]) -> float | None:
    """Level of the voice in chunks of these levels; None for none."""
    return sorted(chunks)[-min(LOUDEST, len(chunks))] if chunks else None
