"""Hears a whole piece of sound, as the ear hears an utterance: for files, benchmarks and calibration."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.alone import SURE_FROM, alone
from assistant.hearing.confidence import evidence_in
from assistant.hearing.foreground import MOST_GAIN_DB, SPEECH_DB, levels, loudness, prepared, turned
from assistant.hearing.judge import judge
from assistant.hearing.sound import FULL_SCALE, RATE

if TYPE_CHECKING:
    from assistant.core.values.thresholds import Thresholds
    from assistant.grammar.step_grammar import StepGrammar
    from assistant.hearing.confidence import Evidence
    from assistant.hearing.judge import Judgement
    from assistant.hearing.recogniser import Recogniser
    from assistant.hearing.sound import Samples

PAD_S = 0.4
"""Silence that is put before and after a sound: a file may be cut at the word, and the recogniser must hear its
beginning and end. The ear keeps as much before an utterance."""

MOST_PAD_DB = -40.0
"""Most of the noise in it, dB relative to full scale."""

LEAST_UNDER_DB = 30.0
"""Least by which it lies under the voice: a tightly cut file has no quiet part of its own."""


def hear_whole(
    recogniser: Recogniser, grammar: StepGrammar, samples: Samples, thresholds: Thresholds
) -> tuple[Judgement, Evidence | None]:
    """Hear a piece of sound with at most one answer in it.

    Args:
        recogniser: Turns it into words.
        grammar: Phrases that may be said.
        samples: The sound, of any level, even cut tightly around the words.
        thresholds: The dialogue's limits.

    Returns:
        The judgement, and what voice activity and levels say (None without speech).

    Raises:
        BayAssistantError: The recogniser failed, or the model lacks a needed word.
    """
    whole = padded(samples)
    spoken, evidence = evidence_in(normal(whole))

    def judged(piece: Samples, evidence: Evidence | None = None) -> Judgement:
        sound = prepared(piece)
        return judge(
            recogniser.hear(sound, grammar),
            grammar,
            thresholds,
            speech=spoken,
            evidence=evidence,
            sound=sound,
            acoustics=recogniser.acoustics,
        )

    found = judged(whole, evidence)
    if not found.accepted and spoken:
        found = alone(whole, judged, SURE_FROM) or found
    return found, evidence


def padded(samples: Samples) -> Samples:
    """The sound with `PAD_S` of faint noise before and after it, as loud as its own quietest part."""
    found = levels(samples)
    floor_db = float(np.percentile(found, 5)) if found.size else MOST_PAD_DB
    deviation = FULL_SCALE * 10 ** (min(floor_db, loudness(found) - LEAST_UNDER_DB, MOST_PAD_DB) / 20)
    faint = np.random.default_rng(1).normal(0, deviation, round(PAD_S * RATE)).round().astype(np.int16)
    return np.concatenate([faint, samples, faint])


def normal(samples: Samples) -> Samples:
    """The sound with its voice at the recogniser's level, and nothing turned down: for voice activity."""
    found = levels(samples)
    gain = min(SPEECH_DB - loudness(found), MOST_GAIN_DB) if found.size else 0.0
    return turned(samples, np.full(found.size, gain, np.float32))
