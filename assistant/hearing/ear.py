"""Hearing without a thread or a clock: sound in, what the dialogue wants to know out.

An `Ear` is fed with sound and told what to listen for, and reports what it heard; its time is the sound that has
gone by.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from assistant.core.values.events import (
    Clip,
    Event,
    Heard,
    Interrupted,
    LevelChanged,
    NoiseChanged,
    NoMatch,
    NoteRecorded,
    known_words,
)
from assistant.core.values.result import Control
from assistant.errors import RecordProblem
from assistant.hearing.activity import (
    DEFAULT_TIMING,
    Completeness,
    EarTiming,
    Segment,
    SileroActivity,
    VoiceActivity,
)
from assistant.hearing.chunks import Chunks, SpeechFinder
from assistant.hearing.levels import LevelOf
from assistant.hearing.noise import Loudness
from assistant.hearing.note import NoteSound
from assistant.hearing.sound import Samples
from assistant.hearing.utterance import OpenUtterance
from assistant.hearing.voice_so_far import NEW_VOICE, VoiceSoFar
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from assistant.core.values.result import GrammarRequest
    from assistant.core.values.thresholds import Thresholds
    from assistant.grammar.step_grammar import StepGrammar
    from assistant.hearing.own_voice import OwnVoice
    from assistant.hearing.recogniser import Recogniser

Make: TypeAlias = Callable[[float], Event]
"""Makes an event of the time at which the session takes it."""


def _nothing() -> None:
    """Default report; does nothing."""


def _no_level(noise_db: float, level: float) -> None:
    """Default report of a level; does nothing."""


@dataclass(frozen=True)
class Reports:
    """Callbacks for what was heard; each runs on the thread that feeds the ear and must return quickly.

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
        reports: Callbacks for what was heard.
        thresholds: The dialogue's limits.
        timing: When speech begins and ends.
        activity: Voice-activity model; the bundled one when None.
        own_voice: Recognises the assistant's own voice; None if the microphone cannot hear it.
        voice: What is known of the voice that will answer.
    """

    def __init__(
        self,
        recogniser: Recogniser,
        grammar_for: Callable[[GrammarRequest], StepGrammar],
        reports: Reports,
        *,
        thresholds: Thresholds = DEFAULT_THRESHOLDS,
        timing: EarTiming = DEFAULT_TIMING,
        activity: VoiceActivity | None = None,
        own_voice: OwnVoice | None = None,
        voice: VoiceSoFar = NEW_VOICE,
    ) -> None:
        self._recogniser = recogniser
        self._grammar_for = grammar_for
        self._reports = reports
        self._thresholds = thresholds
        self._timing = timing
        self._finder = SpeechFinder(timing, activity or SileroActivity(), own_voice)
        self._loudness = Loudness(thresholds, timing)
        self._chunks = Chunks()
        self._grammar: StepGrammar | None = None
        self._utterance: OpenUtterance | None = None
        self._note: NoteSound | None = None
        self._voice = voice

    @property
    def heard_s(self) -> float:
        """Length of all sound so far, s."""
        return self._chunks.heard_s

    @property
    def noise_db(self) -> float:
        """Noise level, dB relative to full scale."""
        return self._loudness.noise_db

    @property
    def margin_db(self) -> float | None:
        """Level of the speech that is expected over the noise, dB; None before there was enough noise to tell."""
        return self._loudness.margin_db

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
        self._chunks.settle(self._timing.settle_s)
        self._finder.ongoing.listens()

    def pause(self) -> None:
        """Hear nothing until told to, except whether somebody speaks; what they said so far is kept as sound."""
        if self._grammar is not None:
            self._keep_interrupted()
        self._grammar = None
        self._chunks.settle(0)
        self._forget_utterance()

    def _keep_interrupted(self) -> None:
        inside = self._utterance is not None and not self._finder.was_own()
        self._finder.ongoing.closes(inside=inside)
        if self._utterance is None or not inside:
            return
        with contextlib.suppress(RecordProblem):  # the log, on the same disk, says so
            clip = self._reports.keep_clip(self._utterance.samples)
            self._reports.happened(lambda at: Interrupted(at, clip))

    def begin_anew(self) -> None:
        """Hear nothing until told to; the sound that comes next does not follow the last."""
        self.pause()
        self._chunks.clear()
        self._finder.forget_sound()

    def record_note(self, longest_s: float) -> None:
        """Keep free speech as sound, until `EarTiming.note_end_s` of silence after it or `longest_s`."""
        self.pause()
        self._note = NoteSound(longest_s, self._timing)

    def end_note(self) -> None:
        """End the note now; without one nothing happens.

        Raises:
            RecordProblem: It cannot be stored.
        """
        if self._note is None:
            return
        note, self._note = self._note, None
        self._forget_utterance()
        clip = self._reports.keep_clip(note.samples())
        self._reports.happened(lambda at: NoteRecorded(at, clip))

    def feed(self, samples: Samples) -> None:
        """Hear the next samples, 16 bits, 16,000 a second, any number of them.

        Raises:
            BayAssistantError: The recogniser failed.
        """
        self._chunks.add(samples)
        while (chunk := self._chunks.take()) is not None:
            if self._chunks.settles() or (self._grammar is None and self._note is None):
                self._finder.overhear(chunk)
                continue
            level = self._loudness.metered(chunk)
            if level is not None:
                self._reports.level(self.noise_db, level)
            probability = self._finder.probability(chunk, self._chunks.at)
            sound = self._finder.sound
            if self._note is None:
                self._hear(sound, probability)
            elif self._note.add(sound, probability):
                self.end_note()

    def _hear(self, chunk: Samples, heard: float) -> None:
        probability = self._finder.near(heard, self.noise_db)
        match self._finder.feed(chunk, probability, self._completeness):
            case Segment.SILENCE:
                self._between(chunk, heard)
            case Segment.BEGAN:
                self._begin(chunk, probability)
            case Segment.SPEECH if self._finder.nearer_began():
                self._forget_beginning(chunk, probability)
            case Segment.SPEECH:
                self._go_on(chunk, probability)
            case Segment.ENDED:
                self._go_on(chunk, probability)
                self._end()

    def _between(self, chunk: Samples, probability: float) -> None:
        noise = probability < self._timing.go_on_at and not self._finder.own
        changed = self._loudness.between(chunk, noise=noise)
        if changed is not None:
            noise_db, hopeless = round(self.noise_db, 1), changed
            self._reports.happened(lambda at: NoiseChanged(at, noise_db, hopeless))

    def _begin(self, chunk: Samples, probability: float) -> None:
        self._reports.speech_began()
        self._open(chunk, probability, start_missed=self._finder.went_on)

    def _open(self, chunk: Samples, probability: float, *, start_missed: bool = False) -> None:
        assert self._grammar is not None  # noqa: S101  nothing is fed here without one
        levels = self._loudness.levels
        levels.begin()
        beginning = [*self._finder.before(), (chunk, probability)]
        expected = self._finder.nearness.expected_db
        self._utterance = OpenUtterance(
            self._recogniser, self._grammar, self._thresholds, levels, beginning, self._voice, expected
        )
        self._utterance.start_missed = start_missed
        levels.speech(chunk)

    def _forget_beginning(self, chunk: Samples, probability: float) -> None:
        """What the utterance began with was somebody else's talk: it begins here."""
        utterance = self._utterance
        assert utterance is not None  # noqa: S101  it goes on
        beginning = utterance.last(self._finder.kept)
        self._finder.begin_again(beginning)
        self._open(chunk, probability)

    def _go_on(self, chunk: Samples, probability: float) -> None:
        if self._utterance is not None:
            self._utterance.add(chunk, probability, speech=probability >= self._timing.go_on_at)
        if probability >= self._timing.begin_at:
            self._loudness.levels.speech(chunk)

    def _end(self) -> None:
        utterance, levels = self._utterance, self._loudness.levels
        assert utterance is not None  # noqa: S101  an utterance that ends has begun
        if self._finder.was_own():
            self._forget_utterance()
            self._reports.speech_ended()
            return
        samples, judged, start_missed = utterance.samples, utterance.judged(), utterance.start_missed
        self._watch_level(samples, understood=judged.accepted)
        if judged.accepted and not start_missed:
            self._voice = self._voice.after(judged.differences)
        self._forget_utterance()
        clip: Clip | None = None
        with contextlib.suppress(RecordProblem):  # the log, which comes next on the same disk, says so
            clip = self._reports.keep_clip(samples)
        snr_db = levels.snr_db()
        noise_db = round(self.noise_db, 1)
        self._reports.speech_ended()
        result = judged.result if judged.accepted else None
        if start_missed and (result is None or result.control is not Control.STOP):
            words = known_words(judged.words)
            self._reports.happened(
                lambda at: NoMatch(at, words, judged.confidence, clip, snr_db, noise_db, start_missed=True)
            )
        elif result is not None:
            self._loudness.understood()
            self._finder.nearness.understood()
            self._reports.happened(
                lambda at: Heard(at, judged.words, result, judged.confidence, clip, snr_db, noise_db)
            )
        else:
            self._finder.nearness.not_understood()
            words = known_words(judged.words)
            self._reports.happened(lambda at: NoMatch(at, words, judged.confidence, clip, snr_db, noise_db))

    def _watch_level(self, samples: Samples, *, understood: bool) -> None:
        """Tell when the microphone's level becomes bad, or good again.

        An utterance that was not understood may be a distant radio. It says nothing about the level of one who was.
        """
        level = LevelOf.of(samples)
        nearness = self._finder.nearness
        if not understood and nearness.is_far(level.voice_db):
            return
        changed = self._loudness.level_changed(level)
        if changed is not None:
            trouble, why = changed
            self._reports.happened(lambda at: LevelChanged(at, trouble, why))

    def _completeness(self) -> Completeness:
        return Completeness.NO if self._utterance is None else self._utterance.completeness()

    def _forget_utterance(self) -> None:
        if self._finder.inside:
            self._reports.speech_ended()
        self._finder.forget_utterance()
        self._utterance = None
