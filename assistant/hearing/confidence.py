"""Measures of an utterance that together say whether an answer is right: the base of its confidence.

The recogniser's own probability is overconfident under a tight grammar.
This module puts together what else is known about each utterance: how the answer's phones fit the sound
(`assistant.hearing.verification`), what voice activity and levels say, and how this voice has fitted before
(`assistant.hearing.voice_so_far`). `assistant.measured` makes one probability of it.
``python -m assistant.acoustic.calibrate`` fits that probability to sound with known words, and drops measures
that do not help.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.hearing.activity import CHUNK, CHUNK_S, DEFAULT_TIMING, Levels, SileroActivity
from assistant.hearing.graph import UNKNOWN
from assistant.hearing.rivals import RivalPhrases
from assistant.hearing.sound import RATE
from assistant.hearing.verification import verified
from assistant.hearing.voice_so_far import NEW_VOICE, VoiceSoFar
from assistant.measured import CALIBRATION, VOICE_ANSWERS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.grammar.step_grammar import StepGrammar
    from assistant.hearing.acoustics import Floats as Logs
    from assistant.hearing.recognition import Recognition
    from assistant.hearing.sound import Samples

OF_THE_VOICE = ("fit", "sure")
"""Measures that are also compared with those of the voice's earlier answers."""


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


@dataclass(frozen=True)
class PhraseMeasures:
    """The best alternative and what is known about it.

    Attributes:
        words: Its words, a phrase of the grammar.
        measures: All measures by name; an unknown one is left out.
        differences: Measures of the voice, less the means of all voices, for `VoiceSoFar.after`.
    """

    words: str
    measures: Mapping[str, float]
    differences: Mapping[str, float]


def of_voice(voice: VoiceSoFar) -> dict[str, float]:
    """What is known of a voice: ``voice-answers``, ``voice-fit`` and ``voice-sure``."""
    return {VOICE_ANSWERS: voice.answers} | {f"voice-{name}": voice.offset(name) for name in OF_THE_VOICE}


def measured(
    recognition: Recognition,
    grammar: StepGrammar,
    logs: Logs,
    evidence: Evidence | None,
    voice: VoiceSoFar = NEW_VOICE,
    means: Mapping[str, float] | None = None,
) -> PhraseMeasures | None:
    """The alternative that fits the sound best, with its measures; None if none is a phrase of the grammar.

    Args:
        recognition: The recogniser's result.
        grammar: Phrases that could be said.
        logs: Log-probabilities of the steps (`Acoustics.log_probabilities`).
        evidence: Voice activity and levels, if known.
        voice: What is known of the voice.
        means: Means of all voices; the delivered ones without.

    Returns:
        The measures of `verification.verified`; ``speech``, ``voiced`` and ``snr`` as in `Evidence` (the last in dB);
        ``voice-answers``: how many answers this voice gave before; and ``voice-fit``, ``voice-sure``: how far they were
        from the means of all voices.
    """
    heard = [one.words for one in recognition.alternatives if one.words and UNKNOWN not in one.words.split()]
    found = verified(logs, heard, grammar.parse, RivalPhrases.of_grammar(grammar), grammar.lexicon)
    if found is None:
        return None
    words, measures = found
    means = CALIBRATION.voice if means is None else means
    differences = {name: measures[name] - means[name] for name in OF_THE_VOICE if name in means}
    measures |= of_voice(voice)
    if evidence is not None:
        measures |= {"speech": evidence.speech, "voiced": evidence.voiced}
        if evidence.snr_db is not None:
            measures["snr"] = evidence.snr_db
    return PhraseMeasures(words, measures, differences)


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
