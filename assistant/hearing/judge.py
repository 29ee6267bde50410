"""Turns recognised words into a result, or into nothing: strictly, and the same for files and live sound.

It begins with the probability of the *meaning*: the recogniser's alternatives that mean the same as the best one
("feed lit" and "feed side lit") against all others, including those with the filler.
For a model whose graphs we write, that share and the other measures of the utterance
(`assistant.hearing.confidence`) become one calibrated probability; for any other model, the share is the
confidence.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.core.values.answer_kind import AnswerKind
from assistant.core.values.result import Control, Result
from assistant.hearing.confidence import measures
from assistant.hearing.graph import UNKNOWN
from assistant.hearing.recognition import Recognition, probabilities
from assistant.hearing.voice_so_far import NEW_VOICE, VoiceSoFar
from assistant.measured import CALIBRATION

if TYPE_CHECKING:
    from assistant.core.values.thresholds import Thresholds
    from assistant.grammar.step_grammar import StepGrammar
    from assistant.hearing.acoustics import Acoustics
    from assistant.hearing.confidence import Evidence
    from assistant.hearing.sound import Samples

_STOP = "stop"
"""The word that is obeyed even if it was hardly heard; its other forms ("whoa", "kill it") are too near to others."""


_LESS = 0.01
"""What is taken from the limit of confidence, so that an answer that sounds much like another one is read back."""


@dataclass(frozen=True)
class Judgement:
    """The meaning of the words, and whether the dialogue may take it.

    Attributes:
        words: The best words, "" for none.
        result: Their meaning; None if they are not a phrase of the grammar or if there was no speech.
        confidence: Probability of that meaning, 0 to 1; of the words if they have no meaning.
        accepted: Whether the result counts as heard.
        differences: Measures of the voice for `VoiceSoFar.after`, if the answer is accepted.
    """

    words: str
    result: Result | None
    confidence: float
    accepted: bool
    differences: Mapping[str, float] = field(default_factory=dict)


def judge(
    recognition: Recognition,
    grammar: StepGrammar,
    thresholds: Thresholds,
    *,
    speech: bool,
    evidence: Evidence | None = None,
    sound: Samples | None = None,  # noqa: ARG001
    acoustics: Acoustics | None = None,  # noqa: ARG001
    voice: VoiceSoFar = NEW_VOICE,  # noqa: ARG001
) -> Judgement:
    """Judge a recognition.

    Args:
        recognition: The recogniser's result.
        grammar: Phrases that could be said.
        thresholds: The dialogue's limits.
        speech: Whether the voice-activity model found any speech; noise alone is never a result.
        evidence: Voice activity and levels; None if unknown, then the rest must do.
        sound: The sound of the utterance, as the recogniser heard it; None if it is gone.
        acoustics: The recogniser's own acoustic model; None for a model of another layout.
        voice: What is known of this voice from earlier answers of the session.
    """
    words = recognition.words
    result = None
    if speech and words and UNKNOWN not in words.split():
        result = grammar.parse(words)
    if result is None:
        return Judgement(words, None, round(recognition.confidence, 4), accepted=False)
    confidence = share_of(recognition, grammar, result)
    if recognition.calibrated:
        found = measures(recognition, confidence, grammar.lexicon, evidence)
        confidence = round(CALIBRATION.probability(found), 4)
    shouted = result.control is Control.STOP and _STOP in words.split()
    limit = thresholds.of(AnswerKind.STOP).taken_from if shouted else thresholds.reject_below
    accepted = confidence >= limit
    if result.outcome is not None and grammar.is_doubtful(words):
        confidence = min(confidence, thresholds.ask_below - _LESS)
    return Judgement(words, result, confidence, accepted)


def share_of(recognition: Recognition, grammar: StepGrammar, result: Result) -> float:
    """Share of all alternatives with this meaning in the sum of likelihoods, to four places."""
    shares = probabilities(recognition.alternatives)
    same = [
        share
        for one, share in zip(recognition.alternatives, shares, strict=True)
        if grammar.parse(one.words) == result
    ]
    return round(min(1.0, sum(same)), 4) if same else round(recognition.confidence, 4)
