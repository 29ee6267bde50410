"""Sound in chunks: cut to the size that the voice-activity model takes, and the speech that begins and ends in them."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.activity import CHUNK, CHUNK_S, Segment, Segmenter
from assistant.hearing.levels import Lift
from assistant.hearing.nearness import Nearness
from assistant.hearing.ongoing import Ongoing
from assistant.hearing.sound import RATE

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.hearing.activity import Completeness, EarTiming, VoiceActivity
    from assistant.hearing.own_voice import OwnVoice
    from assistant.hearing.sound import Samples


class Chunks:
    """Cuts sound that comes in pieces of any length into chunks.

    Attributes:
        at: Place of the first sample of the chunk that was taken last, counted from the beginning of all sound.
    """

    def __init__(self) -> None:
        self.at = 0
        self._heard = 0
        self._rest: Samples = np.zeros(0, np.int16)
        self._settling = 0

    @property
    def heard_s(self) -> float:
        """Length of all sound so far, s."""
        return self._heard / RATE

    def add(self, samples: Samples) -> None:
        """Add sound to be cut."""
        self._heard += samples.size
        self._rest = np.concatenate([self._rest, samples]) if self._rest.size else samples

    def take(self) -> Samples | None:
        """The next chunk; None until there is a whole one."""
        if self._rest.size < CHUNK:
            return None
        self.at = self._heard - self._rest.size
        chunk, self._rest = self._rest[:CHUNK], self._rest[CHUNK:]
        return chunk

    def settle(self, seconds: float) -> None:
        """The next chunks, of about so many seconds together, are not to be listened to."""
        self._settling = round(seconds / CHUNK_S)

    def settles(self) -> bool:
        """Whether the chunk that was taken last is one of those; to be asked once for each."""
        settles = self._settling > 0
        self._settling -= settles
        return settles

    def clear(self) -> None:
        """Forget what has not become a chunk."""
        self._rest = self._rest[:0]


class SpeechFinder:
    """Finds where speech begins and ends, and keeps the sound before it.

    Args:
        timing: When speech begins and ends.
        activity: Voice-activity model.
        own_voice: Recognises the assistant's own voice; None if the microphone cannot hear it.

    Attributes:
        own: The last chunk held the assistant's own voice.
        sound: The last chunk without it; then also up to 16 ms late.
        nearness: Tells speech near the microphone from talk in the background.
        ongoing: Follows whether somebody speaks, also while nobody listens.
        went_on: The utterance that began last was going on already when listening began.
    """

    def __init__(self, timing: EarTiming, activity: VoiceActivity, own_voice: OwnVoice | None = None) -> None:
        self.own = False
        self.sound: Samples = np.zeros(0, np.int16)
        self._activity = activity
        self._own_voice = own_voice
        self._at = 0
        self._began = 0
        self._lift = Lift()
        self.nearness = Nearness(timing)
        self._segmenter = Segmenter(timing)
        self._before: deque[tuple[Samples, float]] = deque(maxlen=round(timing.before_s / CHUNK_S))
        self.went_on = False
        self.ongoing = Ongoing(timing)

    @property
    def inside(self) -> bool:
        """Whether an utterance has begun and not ended."""
        return self._segmenter.inside

    def overhear(self, chunk: Samples) -> None:
        """A chunk that nobody listens to: it only tells whether somebody is speaking when listening begins.

        The level that lifts a quiet microphone does not follow it, since the assistant itself may be what is loud.
        Beside a headset this is not done: there the ear listens all the time.
        """
        if self._own_voice is None:
            self.ongoing.count(self._activity.probability(chunk))

    def probability(self, chunk: Samples, at: int) -> float:
        """Of somebody's speech in the chunk that begins at this place, 0 to 1; each chunk is asked once."""
        self._at = at
        self.sound = chunk if self._own_voice is None else self._own_voice.cleaned(chunk, at)
        probability = self._activity.probability(self._lift.lifted(self.sound))
        self.own = self._own_voice is not None and self._own_voice.is_own(probability)
        return 0.0 if self.own else probability

    def near(self, probability: float, noise_db: float) -> float:
        """Of speech near the microphone in the last chunk, from the probability of any speech in it.

        Args:
            probability: As `probability` gave it.
            noise_db: Level of the noise between utterances, dB relative to full scale.
        """
        return self.nearness.probability(self.sound, probability, noise_db, inside=self.inside)

    def feed(self, chunk: Samples, probability: float, completeness: Callable[[], Completeness]) -> Segment:
        """Classify a chunk; `completeness` as in `Segmenter.feed`."""
        self.ongoing.count(probability)
        segment = self._segmenter.feed(probability, completeness)
        if segment is Segment.SILENCE:
            self._before.append((chunk, probability))
        elif segment is Segment.BEGAN:
            self.nearness.began()
            self.went_on = self.ongoing.began()
            self._began = self._at - round(self._segmenter.timing.begin_within_s * RATE)
        return segment

    def was_own(self) -> bool:
        """Whether the utterance up to the last chunk was the assistant's own voice."""
        return self._own_voice is not None and self._own_voice.was_own(self._began, self._at + CHUNK)

    @property
    def kept(self) -> int:
        """Chunks that are kept before speech."""
        return self._before.maxlen or 0

    def nearer_began(self) -> bool:
        """Whether the technician has begun to speak inside an utterance that began with talk in the background."""
        return self.nearness.nearer_began()

    def begin_again(self, before: list[tuple[Samples, float]]) -> None:
        """The utterance begins with the last chunk, and this is the sound before it."""
        self._before.extend(before)
        self._began = self._at - round(self._segmenter.timing.begin_within_s * RATE)
        self._segmenter.begin_again()

    def before(self) -> list[tuple[Samples, float]]:
        """The chunks before the speech that has just begun, with their probabilities; they are given once."""
        kept = list(self._before)
        self._before.clear()
        return kept

    def forget_utterance(self) -> None:
        """Forget a half-heard utterance and the sound before it."""
        self._segmenter.reset()
        self._before.clear()

    def forget_sound(self) -> None:
        """The next chunk does not follow the last one."""
        self._activity.reset()
