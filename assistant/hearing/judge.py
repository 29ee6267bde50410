"""Turns recognised words into a result, or into nothing: strictly, and the same for files and live sound.

For a model whose graphs we write, each of the recogniser's alternatives that means something is compared with the
sound itself (`assistant.hearing.verification`), and the measures of the best one become one calibrated probability
(`assistant.hearing.confidence`, `assistant.measured`). That the recogniser preferred the filler does not decide.
For any other model, or without the sound, the confidence is the share of the alternatives that mean the same as the
best one ("feed lit" and "feed side lit") in the sum of likelihoods, including those with the filler.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.core.values.answer_kind import AnswerKind, kind_of
from assistant.core.values.result import Result
from assistant.hearing.confidence import measured
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


UNVERIFIED = 0.63
"""Least share of likelihood for an answer that was not compared with the sound; a share is no calibrated probability.
"""

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
    sound: Samples | None = None,
    acoustics: Acoustics | None = None,
    voice: VoiceSoFar = NEW_VOICE,
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
    verified = speech and recognition.calibrated and sound is not None and acoustics is not None
    if verified:
        assert sound is not None and acoustics is not None  # noqa: S101,PT018  for the type checker
        found = measured(recognition, grammar, acoustics.log_probabilities(sound), evidence, voice)
        if found is None:
            return Judgement(recognition.words, None, 0.0, accepted=False)
        words, confidence = found.words, round(CALIBRATION.probability(found.measures), 4)
        result, differences = grammar.parse(words), found.differences
    else:
        words, differences = recognition.words, {}
        understood = speech and words and UNKNOWN not in words.split()
        result = grammar.parse(words) if understood else None
        confidence = share_of(recognition, grammar, result) if result else round(recognition.confidence, 4)
    if result is None:
        return Judgement(words, None, confidence, accepted=False)
    kind = kind_of(result, grammar.request.controls)
    if kind is AnswerKind.STOP and _STOP not in words.split():
        kind = AnswerKind.RESULT
    limits = thresholds.of(kind)
    least = limits.taken_from if verified or kind is AnswerKind.STOP else max(UNVERIFIED, limits.taken_from)
    accepted = confidence >= least
    if result.outcome is not None and grammar.is_doubtful(words):
        confidence = min(confidence, limits.sure_from - _LESS)
    return Judgement(words, result, confidence, accepted, differences)


def share_of(recognition: Recognition, grammar: StepGrammar, result: Result) -> float:
    """Share of all alternatives with this meaning in the sum of likelihoods, to four places."""
    shares = probabilities(recognition.alternatives)
    same = [
        share
        for one, share in zip(recognition.alternatives, shares, strict=True)
        if grammar.parse(one.words) == result
    ]
    return round(min(1.0, sum(same)), 4) if same else round(recognition.confidence, 4)
