"""Listening: sound in, what the dialogue wants to know out.

`Ear` is the whole of it without a thread or a clock: it is fed with sound and told what to listen for, and tells
what it heard; its time is the sound that has gone by.
`Listener` runs an `Ear` on a thread of its own, behind a queue that sound and orders go through in the order in
which they happened: what was said before "pause" is heard, what comes after is not.

A half-duplex session pauses the listener while the assistant speaks, so it never hears itself.
"""

from __future__ import annotations

import contextlib
import queue
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol, TypeAlias

import numpy as np

from assistant.core.values.events import (
    Clip,
    Event,
    GearBack,
    GearLost,
    Heard,
    NoiseChanged,
    NoMatch,
    NoteRecorded,
)
from assistant.core.values.result import Control
from assistant.errors import BayAssistantError, RecordProblem
from assistant.hearing.activity import (
    CHUNK,
    CHUNK_S,
    DEFAULT_TIMING,
    Completeness,
    Levels,
    Segment,
    Segmenter,
    SileroActivity,
    Timing,
    VoiceActivity,
)
from assistant.hearing.confidence import Evidence
from assistant.hearing.graph import UNKNOWN
from assistant.hearing.judge import Judgement, judge
from assistant.hearing.sound import RATE, Samples, level_db
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from assistant.core.values.result import GrammarRequest
    from assistant.core.values.thresholds import Thresholds
    from assistant.grammar.grammar import StepGrammar
    from assistant.hearing.recogniser import Recogniser, Stream

Make: TypeAlias = Callable[[float], Event]
"""Makes an event of the time at which the session takes it."""


def _nothing() -> None:
    """For whoever does not ask."""


def _no_level(noise_db: float, level: float) -> None:
    """For whoever does not ask."""


@dataclass(frozen=True)
class Reports:
    """Whom to tell what was heard; each is called on the thread that feeds the ear and must return quickly.

    Attributes:
        happened: Something for the dialogue.
        keep_clip: Store a piece of sound.
        speech_began: Somebody has begun to speak.
        speech_ended: They have ended (also when it turns out to be nothing).
        level: Noise level and the level of the last third of a second, both in dB relative to full scale.
    """

    happened: Callable[[Make], None]
    keep_clip: Callable[[Samples], Clip]
    speech_began: Callable[[], None] = _nothing
    speech_ended: Callable[[], None] = _nothing
    level: Callable[[float, float], None] = _no_level


class Ear:
    """Finds utterances in sound, recognises and judges them.

    Args:
        recogniser: Turns them into words.
        grammar_for: The grammar of a request.
        reports: Whom to tell.
        thresholds: The dialogue's limits.
        timing: When speech begins and ends.
        activity: Voice-activity model; the bundled one when None.
    """

    def __init__(
        self,
        recogniser: Recogniser,
        grammar_for: Callable[[GrammarRequest], StepGrammar],
        reports: Reports,
        *,
        thresholds: Thresholds = DEFAULT_THRESHOLDS,
        timing: Timing = DEFAULT_TIMING,
        activity: VoiceActivity | None = None,
    ) -> None:
        self._recogniser = recogniser
        self._grammar_for = grammar_for
        self._reports = reports
        self._thresholds = thresholds
        self._timing = timing
        self._activity = activity or SileroActivity()
        self._segmenter = Segmenter(timing)
        self._levels = Levels(timing)
        self._noise = NoiseWatch(thresholds, timing)
        self._grammar: StepGrammar | None = None
        self._stream: Stream | None = None
        self._rest: Samples = np.zeros(0, np.int16)
        self._before: deque[tuple[Samples, float]] = deque(maxlen=round(timing.before_s / CHUNK_S))
        self._utterance: list[Samples] = []
        self._probabilities: list[float] = []
        self._looked: tuple[str, Completeness] | None = None
        self._found: Judgement | None = None
        self._note: list[Samples] | None = None
        self._note_left_s = 0.0
        self._note_spoken = False
        self._note_silent_s = 0.0
        self._recent: deque[Samples] = deque(maxlen=10)
        self._deaf = 0
        self.heard_s = 0.0

    @property
    def noise_db(self) -> float:
        """Noise level, dB relative to full scale."""
        return self._levels.noise_db

    def listen(self, request: GrammarRequest) -> None:
        """Hear this from now on; anything half heard before is forgotten, unless it is the same that is asked.

        Raises:
            BayAssistantError: The grammar has no phrase for it, or the model lacks a needed word.
        """
        grammar = self._grammar_for(request)
        if grammar is self._grammar:
            return
        self.pause()
        self._recogniser.prepare(grammar)
        self._grammar = grammar
        self._deaf = round(self._timing.settle_s * RATE)

    def pause(self) -> None:
        """Hear nothing until told to."""
        self._grammar = None
        self._forget()

    def record_note(self, longest_s: float) -> None:
        """Keep free speech as sound, until `Timing.note_end_s` of silence after it or `longest_s`."""
        self.pause()
        self._note, self._note_left_s = [], longest_s
        self._note_spoken, self._note_silent_s = False, 0.0

    def end_note(self) -> None:
        """End the note now; without one nothing happens.

        Raises:
            RecordProblem: It cannot be stored.
        """
        if self._note is None:
            return
        sound, self._note = self._note, None
        self._forget()
        samples = np.concatenate(sound) if sound else np.zeros(CHUNK, np.int16)
        clip = self._reports.keep_clip(samples)
        self._reports.happened(lambda at: NoteRecorded(at, clip))

    def feed(self, samples: Samples) -> None:
        """Hear the next samples, 16 bits, 16,000 a second, any number of them.

        Raises:
            BayAssistantError: The recogniser failed.
        """
        self.heard_s += samples.size / RATE
        if self._grammar is None and self._note is None:
            self._rest = self._rest[:0]
            return
        samples, self._deaf = samples[self._deaf :], max(0, self._deaf - samples.size)
        self._rest = np.concatenate([self._rest, samples]) if self._rest.size else samples
        while self._rest.size >= CHUNK and (self._grammar is not None or self._note is not None):
            chunk, self._rest = self._rest[:CHUNK], self._rest[CHUNK:]
            self._recent.append(chunk)
            if len(self._recent) == self._recent.maxlen:
                self._reports.level(self.noise_db, level_db(np.concatenate(self._recent)))
                self._recent.clear()
            probability = self._activity.probability(chunk)
            if self._note is not None:
                self._keep_note(chunk, probability)
            else:
                self._hear(chunk, probability)

    # --- a note ---

    def _keep_note(self, chunk: Samples, probability: float) -> None:
        assert self._note is not None  # noqa: S101  the caller has looked
        self._note.append(chunk)
        self._note_left_s -= CHUNK_S
        if probability >= self._timing.begin_at:
            self._note_spoken, self._note_silent_s = True, 0.0
        else:
            self._note_silent_s += CHUNK_S
        over = self._note_spoken and self._note_silent_s >= self._timing.note_end_s
        if over or self._note_left_s <= 0:
            self.end_note()

    # --- an utterance ---

    def _hear(self, chunk: Samples, probability: float) -> None:
        match self._segmenter.feed(probability, self._completeness):
            case Segment.SILENCE:
                self._before.append((chunk, probability))
                if probability < self._timing.go_on_at:
                    self._levels.noise(chunk)
                self._watch_noise()
            case Segment.BEGAN:
                self._begin(chunk, probability)
            case Segment.SPEECH:
                self._go_on(chunk, probability)
            case Segment.ENDED:
                self._go_on(chunk, probability)
                self._end()

    def _begin(self, chunk: Samples, probability: float) -> None:
        assert self._grammar is not None  # noqa: S101  nothing is fed here without one
        self._reports.speech_began()
        self._levels.begin()
        self._stream = self._recogniser.stream(self._grammar)
        self._utterance = [*(before for before, _ in self._before), chunk]
        self._probabilities = [*(value for _, value in self._before), probability]
        self._before.clear()
        for piece in self._utterance:
            self._stream.accept(piece)
        self._levels.speech(chunk)

    def _go_on(self, chunk: Samples, probability: float) -> None:
        self._utterance.append(chunk)
        self._probabilities.append(probability)
        if self._stream is not None and self._found is None:
            self._stream.accept(chunk)
        if probability >= self._timing.go_on_at:
            self._looked = None  # they speak again
        if probability >= self._timing.begin_at:
            self._levels.speech(chunk)

    def _end(self) -> None:
        stream, grammar = self._stream, self._grammar
        assert stream is not None  # noqa: S101  an utterance that ends has begun
        assert grammar is not None  # noqa: S101  and was listened for
        samples = np.concatenate(self._utterance)
        judged = self._found or self._judged(stream, grammar)
        self._forget(reset_activity=False)
        clip: Clip | None = None
        with contextlib.suppress(RecordProblem):  # the log, which comes next on the same disk, says so
            clip = self._reports.keep_clip(samples)
        snr_db = self._levels.snr_db()
        noise_db = round(self.noise_db, 1)
        self._reports.speech_ended()
        if judged.accepted and judged.result is not None:
            result = judged.result
            self._noise.spoken_at(self._levels.speech_db())
            self._reports.happened(
                lambda at: Heard(at, judged.words, result, judged.confidence, clip, snr_db, noise_db)
            )
        else:
            self._reports.happened(
                lambda at: NoMatch(at, judged.words, judged.confidence, clip, snr_db, noise_db)
            )

    def _completeness(self) -> Completeness:
        """How far the words are a phrase, asked in a silence that may be long enough to end the utterance.

        The words so far (`Stream.partial`) come 0.2 to 0.4 s late, because the acoustic model looks ahead.
        So at the first time in each silence the recognition is ended on trial, which takes in all sound.
        A phrase that cannot go on is the answer at once if the recogniser is sure of it or if the words so far are
        the same; a strict graph otherwise makes up an end for what has not been said yet.
        Else the sound is recognised again from its beginning, a few hundredths of a second, and the words so far are
        looked at until the silence ends.
        """
        stream, grammar = self._stream, self._grammar
        if stream is None or grammar is None:
            return Completeness.NO
        if self._found is not None:
            return Completeness.COMPLETE
        if self._looked is None:
            self._looked = self._look(stream, grammar)
            return self._looked[1]
        words, far = self._looked
        so_far = stream.partial()
        if far is Completeness.UNCONFIRMED and so_far == words:
            return Completeness.COMPLETE
        if far is Completeness.NO and (now := completeness(so_far, grammar)) is not Completeness.NO:
            return Completeness.UNCONFIRMED if now is Completeness.COMPLETE else now
        return far

    def _look(self, stream: Stream, grammar: StepGrammar) -> tuple[str, Completeness]:
        """End the recognition on trial; the words and how far they are a phrase that counts as heard."""
        if stream.elapsed_s > SLOW * len(self._utterance) * CHUNK_S:
            return "", Completeness.NO  # a slow model is not asked twice
        so_far = stream.partial()
        judged = self._judged(stream, grammar)
        far = completeness(judged.words, grammar) if judged.accepted else Completeness.NO
        if far is Completeness.COMPLETE:
            if judged.words == so_far or judged.confidence >= self._thresholds.ask_below:
                self._found = judged
                return judged.words, far
            far = Completeness.UNCONFIRMED
        self._stream = self._recogniser.stream(grammar)
        self._stream.accept(np.concatenate(self._utterance))
        return judged.words, far

    def _judged(self, stream: Stream, grammar: StepGrammar) -> Judgement:
        """End a stream and judge its words with what else is known of the utterance."""
        evidence = Evidence.of(self._probabilities, self._levels.snr_db())
        return judge(stream.finish(), grammar, self._thresholds, speech=True, evidence=evidence)

    def _watch_noise(self) -> None:
        if not self._levels.settled:
            return
        changed = self._noise.changed(self.noise_db)
        if changed is not None:
            noise_db, hopeless = round(self.noise_db, 1), changed
            self._reports.happened(lambda at: NoiseChanged(at, noise_db, hopeless))

    def _forget(self, *, reset_activity: bool = True) -> None:
        if self._segmenter.inside:
            self._reports.speech_ended()
        self._segmenter.reset()
        self._stream = None
        self._looked, self._found = None, None
        self._utterance, self._probabilities = [], []
        self._before.clear()
        if reset_activity:
            self._rest = self._rest[:0]
            self._activity.reset()


SLOW = 0.15
"""Processing time as a share of the sound over which a recogniser is not asked on trial; the bundled model: 0.02."""


def completeness(words: str, grammar: StepGrammar) -> Completeness:
    """How far these words are a phrase of the grammar."""
    if UNKNOWN in words.split():
        # Something else is being said: no use in waiting as long as for the rest of a phrase.
        return Completeness.MAY_CONTINUE
    if not grammar.is_complete(words):
        return Completeness.NO
    result = grammar.parse(words)
    stop = result is not None and result.control is Control.STOP  # "stop stop" means no more than "stop"
    if stop or not grammar.can_continue(words):
        return Completeness.COMPLETE
    # Inside a number people pause ("twelve" … "point four"); other phrases are said in one breath.
    number = result is not None and result.value is not None
    return Completeness.MAY_CONTINUE if number else Completeness.LONGER_EXISTS


class NoiseWatch:
    """Whether hearing is hopeless, from the noise level alone, with hysteresis in level and in time.

    Speech is expected at `Thresholds.speech_level_db` until it has been measured, then at the running mean of
    the phrases that were understood (new ones weigh a quarter).
    """

    def __init__(self, thresholds: Thresholds, timing: Timing = DEFAULT_TIMING) -> None:
        self._thresholds = thresholds
        self._holds_s = timing.noise_holds_s
        self._speech_db = thresholds.speech_level_db
        self._other_for_s = 0.0
        self.hopeless = False

    def spoken_at(self, speech_db: float | None) -> None:
        """A phrase was understood that was spoken at this level."""
        if speech_db is not None:
            self._speech_db += 0.25 * (speech_db - self._speech_db)

    def changed(self, noise_db: float) -> bool | None:
        """Called for each chunk between utterances: the new state when it has changed, else None."""
        expected_db = self._speech_db - noise_db
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


class Source(Protocol):
    """Where sound comes from: the microphone, or a stand-in."""

    def start(
        self,
        deliver: Callable[[Samples], None],
        lost: Callable[[str], None],
        back: Callable[[], None],
    ) -> None:
        """Begin; the three are then called on threads of the source and return at once.

        Raises:
            GearProblem: It cannot be opened.
        """

    def close(self) -> None:
        """Give the device back."""


_FAILURES = 3
"""So many failures of sound processing in one session are taken for accidents; then hearing stays off."""


class Listener:
    """An `Ear` on a thread of its own.

    Whatever goes wrong in it becomes `GearLost`; the session goes on by keys.
    After `GearBack` it waits to be told again what to listen for.

    Args:
        ear: What hears.
        source: Where sound comes from.
        happened: Something for the dialogue, as in `Reports`.

    Raises:
        GearProblem: The source cannot be opened.
    """

    def __init__(self, ear: Ear, source: Source, happened: Callable[[Make], None]) -> None:
        self._ear = ear
        self._source = source
        self._happened = happened
        self._orders: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._failures = 0
        self._thread = threading.Thread(target=self._run, name="listener", daemon=True)
        source.start(self._deliver, self._source_lost, self._source_back)
        self._thread.start()

    def listen(self, request: GrammarRequest) -> None:
        """Hear this from now on; anything half heard before is forgotten."""
        self._orders.put(lambda: self._ear.listen(request))

    def pause(self) -> None:
        """Hear nothing until told to; sound that comes from now on is dropped."""
        self._orders.put(self._ear.pause)

    def record_note(self, longest_s: float) -> None:
        """Keep free speech as sound."""
        self._orders.put(lambda: self._ear.record_note(longest_s))

    def end_note(self) -> None:
        """End the note now."""
        self._orders.put(self._ear.end_note)

    def close(self) -> None:
        """Give the microphone back and end the thread; safe to call twice."""
        with contextlib.suppress(Exception):
            self._source.close()
        self._orders.put(None)
        if self._thread is not threading.current_thread():
            self._thread.join(timeout=2.0)

    # --- from other threads ---

    def _deliver(self, samples: Samples) -> None:
        self._orders.put(lambda: self._ear.feed(samples))

    def _source_lost(self, why: str) -> None:
        self._happened(lambda at: GearLost(at, "microphone", why))
        self._orders.put(self._ear.pause)

    def _source_back(self) -> None:
        self._happened(lambda at: GearBack(at, "microphone"))

    # --- on the thread ---

    def _run(self) -> None:
        while (order := self._orders.get()) is not None:
            if self._failures >= _FAILURES:
                continue
            try:
                order()
            except Exception as error:  # noqa: BLE001  hearing must never take the session down
                self._failed(error)

    def _failed(self, error: Exception) -> None:
        self._failures += 1
        if isinstance(error, BayAssistantError):
            why = str(error)
        else:
            why = f"Hearing failed ({type(error).__name__}: {error}). Use the keys."
        with contextlib.suppress(Exception):
            self._ear.pause()
        self._happened(lambda at: GearLost(at, "microphone", why))
        if self._failures < _FAILURES:
            self._happened(lambda at: GearBack(at, "microphone"))
