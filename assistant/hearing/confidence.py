"""Measures of an utterance that together say whether an answer is right: the base of its confidence.

The recogniser's own probability is overconfident under a tight grammar.
This module measures what else is known about each utterance; `assistant.measured` makes one probability of it.
``python -m assistant.acoustic.calibrate`` fits that probability to sound with known words, and drops measures
that do not help.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.hearing.activity import CHUNK, CHUNK_S, DEFAULT_TIMING, Levels, SileroActivity
from assistant.hearing.graph import UNKNOWN
from assistant.hearing.sound import RATE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.grammar.lexicon import Lexicon
    from assistant.hearing.recognition import Recognition
    from assistant.hearing.sound import Samples

MEASURES = ("share", "word", "filler", "pace", "pace-squared", "speech", "voiced", "snr")
"""Names of the measures, as `measures` gives them."""

_LIMIT = 8.0


@dataclass(frozen=True)
class Evidence:
    """Voice activity and levels of an utterance.

    Attributes:
        speech: Mean probability of speech between the first and the last chunk that is speech, 0 to 1.
        voiced: Share of chunks between them that are speech, 0 to 1.
        speech_s: Time between them, s.
        snr_db: Signal-to-noise ratio, dB; None if unknown.
    """

    speech: float
    voiced: float
    speech_s: float
    snr_db: float | None

    @classmethod
    def of(cls, probabilities: Sequence[float], snr_db: float | None) -> Evidence | None:
        """From the probability of speech of each chunk; None if no chunk is speech."""
        spoken = [at for at, value in enumerate(probabilities) if value >= DEFAULT_TIMING.begin_at]
        if not spoken:
            return None
        within = probabilities[spoken[0] : spoken[-1] + 1]
        mean = sum(within) / len(within)
        return cls(mean, len(spoken) / len(within), len(within) * CHUNK_S, snr_db)


def measures(
    recognition: Recognition, share: float, lexicon: Lexicon, evidence: Evidence | None
) -> dict[str, float]:
    """The measures of an utterance by name; an unknown one is left out.

    Args:
        recognition: A recognition with at least one word.
        share: Probability of the meaning among the recogniser's alternatives, 0 to 1.
        lexicon: Gives the number of phones of the words.
        evidence: Voice activity and levels, if known.

    Returns:
        ``share`` and ``word`` (the lowest of the words' own probabilities): log-odds, at most 8 from 0.
        ``filler``: how much likelier the words are than the best alternative with the filler (natural logarithm,
        at most 8; also 8 if there is no such alternative).
        ``pace``: logarithm of the seconds for each phone, and its square after 0.1 s (too fast and too slow).
        ``speech``, ``voiced``, ``snr``: as in `Evidence`, the last in dB.
    """
    found = {"share": _log_odds(share)}
    if recognition.word_confidences:
        found["word"] = _log_odds(min(recognition.word_confidences))
    best = recognition.alternatives[0].score if recognition.alternatives else 0.0
    fillers = [one.score for one in recognition.alternatives if UNKNOWN in one.words.split()]
    found["filler"] = min(_LIMIT, best - max(fillers, default=best - _LIMIT))
    if evidence is None:
        return found
    phones = lexicon.phones(recognition.words.split())
    if phones:
        pace = math.log(max(evidence.speech_s, CHUNK_S) / len(phones) / 0.1)
        found |= {"pace": pace, "pace-squared": pace * pace}
    found |= {"speech": evidence.speech, "voiced": evidence.voiced}
    if evidence.snr_db is not None:
        found["snr"] = evidence.snr_db
    return found


def _log_odds(probability: float) -> float:
    within = min(1 - 1e-9, max(1e-9, probability))
    return max(-_LIMIT, min(_LIMIT, math.log(within / (1 - within))))


def evidence_in(samples: Samples) -> tuple[bool, Evidence | None]:
    """Whether anyone speaks in a piece of sound, and what voice activity and levels say (None without speech)."""
    activity, levels = SileroActivity(), Levels()
    probabilities = []
    for start in range(0, len(samples) - CHUNK + 1, CHUNK):
        chunk = samples[start : start + CHUNK]
        probabilities.append(activity.probability(chunk))
        if probabilities[-1] >= DEFAULT_TIMING.begin_at:
            levels.speech(chunk)
        else:
            levels.noise(chunk)
    spoken = sum(value >= DEFAULT_TIMING.begin_at for value in probabilities)
    enough = spoken * CHUNK >= DEFAULT_TIMING.begin_s * RATE
    return enough, Evidence.of(probabilities, levels.snr_db())
