"""One utterance on its way from sound to a judgement, and how far its words are a phrase while it goes on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.core.values.result import Control
from assistant.hearing.activity import CHUNK_S, Completeness
from assistant.hearing.alone import SURE_FROM, alone
from assistant.hearing.confidence import Evidence
from assistant.hearing.foreground import prepared
from assistant.hearing.graph import UNKNOWN
from assistant.hearing.judge import Judgement, judge
from assistant.hearing.lens import Lens
from assistant.hearing.voice_so_far import NEW_VOICE, VoiceSoFar

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.core.values.thresholds import Thresholds
    from assistant.grammar.step_grammar import StepGrammar
    from assistant.hearing.activity import Levels
    from assistant.hearing.recogniser import Recogniser
    from assistant.hearing.recognition import Recognition, UtteranceStream
    from assistant.hearing.sound import Samples

SLOW = 0.15
"""Processing time as a share of the sound over which a recogniser is not asked on trial; the bundled model: 0.02."""

ENDS_FROM = 0.75
"""Confidence from which a phrase that cannot go on ends the utterance at once."""


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


class OpenUtterance:
    """Sound from shortly before speech began, with what the recogniser makes of it.

    The recogniser listens along through a `Lens`. When the utterance may be over, it hears the whole again only if the
    level or the gate turns out to have been wrong by so much that it matters.

    Args:
        recogniser: Turns it into words.
        grammar: Phrases that may be said.
        thresholds: The dialogue's limits.
        levels: Levels of noise and of the speech in it.
        beginning: The chunks so far, each with its probability of speech.
        voice: What is known of this voice.
        expected_db: Level at which the technician was understood before, if known.

    Attributes:
        start_missed: It was going on already when listening began.

    Raises:
        BayAssistantError: The recogniser failed.
    """

    def __init__(
        self,
        recogniser: Recogniser,
        grammar: StepGrammar,
        thresholds: Thresholds,
        levels: Levels,
        beginning: Sequence[tuple[Samples, float]],
        voice: VoiceSoFar = NEW_VOICE,
        expected_db: float | None = None,
    ) -> None:
        self.start_missed = False
        self._voice = voice
        self._recogniser = recogniser
        self._grammar = grammar
        self._thresholds = thresholds
        self._levels = levels
        self._stream: UtteranceStream = recogniser.stream(grammar)
        self._lens = Lens(expected_db)
        self._probabilities = [probability for _, probability in beginning]
        self._looked: tuple[str, Completeness] | None = None
        self._found: Judgement | None = None
        for chunk, _ in beginning:
            self._stream.accept(self._lens.add(chunk))

    def add(self, chunk: Samples, probability: float, *, speech: bool) -> None:
        """The next chunk with its probability of speech; `speech`: they speak on, so a silence is over.

        Raises:
            BayAssistantError: The recogniser failed.
        """
        self._probabilities.append(probability)
        sound = self._lens.add(chunk)
        if self._found is None:
            self._stream.accept(sound)
        if speech:
            self._looked = None

    @property
    def samples(self) -> Samples:
        """All its sound, as it came."""
        return self._lens.samples

    def last(self, chunks: int) -> list[tuple[Samples, float]]:
        """Its last chunks, each with its probability of speech."""
        sound = np.split(self.samples, len(self._probabilities))
        return list(zip(sound, self._probabilities, strict=True))[-chunks:]

    def judged(self) -> Judgement:
        """End the utterance and judge its words; the stream is used up.

        If the whole is no phrase, a piece of it that stands alone between pauses may be one.
        """
        if self._found is not None:
            return self._found
        self._stream.accept(self._lens.rest())
        whole = self._ended()
        if whole.accepted:
            return whole
        return alone(self.samples, self._piece, SURE_FROM) or whole

    def completeness(self) -> Completeness:
        """How far the words are a phrase, asked in a silence that may be long enough to end the utterance.

        The words so far (`UtteranceStream.partial`) come 0.2 to 0.4 s late, because the acoustic model looks ahead.
        So at the first time in each silence the recognition is ended on trial, which takes in all sound.
        A phrase that cannot go on is the answer at once if the recogniser is sure of it or if the words so far are
        the same; a strict graph otherwise makes up an end for what has not been said yet.
        Otherwise the sound is recognised again from its beginning, which takes a few hundredths of a second, and
        the words so far are checked until the silence ends.
        """
        if self._found is not None:
            return Completeness.COMPLETE
        if self._looked is None:
            self._looked = self._look()
            return self._looked[1]
        words, far = self._looked
        so_far = self._stream.partial()
        if far is Completeness.UNCONFIRMED and so_far == words:
            return Completeness.COMPLETE
        if far is Completeness.NO and (now := completeness(so_far, self._grammar)) is not Completeness.NO:
            return Completeness.UNCONFIRMED if now is Completeness.COMPLETE else now
        return far

    def _look(self) -> tuple[str, Completeness]:
        """End the recognition on trial; the words and how far they are a phrase that counts as heard."""
        if self._stream.elapsed_s > SLOW * len(self._probabilities) * CHUNK_S:
            return "", Completeness.NO  # a slow model is not asked twice
        self._stream.accept(self._lens.rest())
        so_far = self._stream.partial()
        judged = self._ended()
        far = completeness(judged.words, self._grammar) if judged.accepted else Completeness.NO
        if far is Completeness.COMPLETE:
            if judged.words == so_far or judged.confidence >= ENDS_FROM:
                self._found = judged
                return judged.words, far
            far = Completeness.UNCONFIRMED
        self._again()
        return judged.words, far

    def _again(self) -> None:
        """Begin the recognition anew, with all that is known now."""
        self._stream = self._recogniser.stream(self._grammar)
        self._stream.accept(self._lens.settle())

    def _ended(self) -> Judgement:
        """End the stream and judge its words with what else is known of the utterance."""
        if self._lens.differs:
            self._again()
        evidence = Evidence.of(self._probabilities, self._levels.snr_db())
        return self._judge(self._stream.finish(), self._lens.heard, evidence)

    def _piece(self, samples: Samples) -> Judgement:
        """Judge a piece of the utterance."""
        sound = prepared(samples)
        return self._judge(self._recogniser.hear(sound, self._grammar), sound)

    def _judge(self, recognition: Recognition, sound: Samples, evidence: Evidence | None = None) -> Judgement:
        return judge(
            recognition,
            self._grammar,
            self._thresholds,
            speech=True,
            evidence=evidence,
            sound=sound,
            acoustics=self._recogniser.acoustics,
            voice=self._voice,
        )
