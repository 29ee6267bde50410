"""From recognised words to a result, or to nothing: strict, and the same for files and for live sound."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.hearing.graph import UNKNOWN

if TYPE_CHECKING:
    from assistant.core.policy import Thresholds
    from assistant.core.result import Result
    from assistant.grammar.grammar import StepGrammar
    from assistant.hearing.recogniser import Recognition


@dataclass(frozen=True)
class Judgement:
    """What the words mean, and whether that may be taken."""

    words: str
    result: Result | None
    confidence: float
    accepted: bool


def judge(
    recognition: Recognition, grammar: StepGrammar, thresholds: Thresholds, *, speech: bool
) -> Judgement:
    """Judge a recognition.

    Args:
        recognition: What the recogniser gave.
        grammar: What could be said.
        thresholds: The dialogue's limits.
        speech: Whether the voice-activity model found speech at all; noise alone is never a result.
    """
    words = recognition.words
    result = None
    if speech and words and UNKNOWN not in words.split():
        result = grammar.parse(words)
    accepted = result is not None and recognition.confidence >= thresholds.reject_below
    return Judgement(words, result, recognition.confidence, accepted)
