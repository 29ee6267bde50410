"""The measures that the confidence of an answer is made of, and that it is a probability."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, strategies as st

from assistant import resources
from assistant.core.values.result import GrammarRequest
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.acoustics import OUTPUTS, PHONE_NUMBERS
from assistant.hearing.confidence import Evidence, measured
from assistant.hearing.judge import judge
from assistant.hearing.recognition import Alternative, Recognition
from assistant.hearing.voice_so_far import NEW_VOICE
from assistant.measured import CALIBRATION, DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from numpy.typing import NDArray

GRAMMAR = GrammarSet.load(resources.directory("grammars")).request(
    GrammarRequest(outcomes=("lit", "dim", "dark"))
)
EVIDENCE = Evidence(speech=0.95, voiced=1.0, speech_s=0.8, snr_db=12.0)


def heard(*shares: tuple[str, float], calibrated: bool = True) -> Recognition:
    return Recognition.of(
        (Alternative(words, math.log(share)) for words, share in shares), 0.01, calibrated=calibrated
    )


def test_evidence_is_taken_between_the_first_and_last_speech() -> None:
    """Silence before and after does not count, a pause inside does."""
    evidence = Evidence.of([0.0, 0.1, 0.8, 0.2, 0.8, 0.1], 9.0)
    assert evidence is not None
    assert pytest.approx(0.6) == evidence.speech
    assert pytest.approx(2 / 3) == evidence.voiced
    assert pytest.approx(3 * 512 / 16000) == evidence.speech_s
    assert Evidence.of([0.1, 0.4], 9.0) is None
    assert Evidence.of([], None) is None


def logs_of(spoken: str, sure: float = 0.9, gap: int = 2) -> NDArray[np.float32]:
    """Log-probabilities of sound in which these words are spoken, a step for each phone, with blanks between."""
    probabilities = []
    for phone in GRAMMAR.lexicon.phones(tuple(spoken.split())) or ():
        for output in (PHONE_NUMBERS[phone], *[0] * gap):
            step = np.full(OUTPUTS, (1 - sure) / (OUTPUTS - 1))
            step[output] = sure
            probabilities.append(step)
    return np.log(probabilities).astype(np.float32)


def test_what_is_known_of_an_utterance_is_put_together() -> None:
    """Measures of the phrase, of voice activity and of the voice; what is not known is left out."""
    voice = NEW_VOICE.after({"fit": -2.0})
    known = measured(heard(("dark", 1.0)), GRAMMAR, logs_of("dark"), EVIDENCE, voice, {"fit": -1.0})
    assert known is not None
    assert "dark" == known.words
    assert (0.95, 1.0, 12.0) == tuple(known.measures[name] for name in ("speech", "voiced", "snr"))
    assert pytest.approx(voice.offset("fit")) == known.measures["voice-fit"]
    assert 1.0 == known.measures["voice-answers"]
    assert {"fit": pytest.approx(known.measures["fit"] + 1.0)} == known.differences
    alone = measured(heard(("dark", 1.0)), GRAMMAR, logs_of("dark"), None)
    assert alone is not None
    assert not {"speech", "voiced", "snr"} & set(alone.measures)
    quiet = measured(heard(("dark", 1.0)), GRAMMAR, logs_of("dark"), Evidence(0.9, 1.0, 0.8, None))
    assert quiet is not None
    assert "snr" not in quiet.measures


def test_a_lonely_alternative_is_no_surer_than_the_sound_makes_it() -> None:
    """What was said decides, not how many alternatives the recogniser gave, and the filler does not forbid."""
    alone = measured(heard(("dark", 1.0)), GRAMMAR, logs_of("dim"), EVIDENCE)
    right = measured(heard(("[unk]", 0.9), ("dark", 0.1)), GRAMMAR, logs_of("dark"), EVIDENCE)
    assert alone is not None
    assert right is not None
    assert CALIBRATION.probability(alone.measures) < 0.2 < CALIBRATION.probability(right.measures)


def test_only_phrases_are_measured() -> None:
    """The filler and parts of phrases are nothing, and neither is sound that is shorter than the words."""
    assert measured(heard(("[unk]", 0.9), ("feed", 0.1)), GRAMMAR, logs_of("dark"), EVIDENCE) is None
    assert measured(heard(("dark", 1.0)), GRAMMAR, logs_of("dark")[:2], EVIDENCE) is None
    assert measured(heard(("dark", 1.0)), GRAMMAR, logs_of("dark")[:0], EVIDENCE) is None


@given(st.floats(0.5, 1.0), st.floats(0, 1), st.floats(0, 1), st.none() | st.floats(-20, 60))
def test_confidence_without_sound_is_the_share(
    share: float, speech: float, voiced: float, snr_db: float | None
) -> None:
    """Without the sound, or for another model, the share of likelihood is all there is."""
    evidence = Evidence(speech, voiced, 0.5, snr_db)
    rivals = [("dark", share), ("dim", max(1e-6, 1 - share))]
    less = judge(heard(*rivals), GRAMMAR, DEFAULT_THRESHOLDS, speech=True, evidence=evidence)
    more = judge(heard(("dark", 1.0)), GRAMMAR, DEFAULT_THRESHOLDS, speech=True, evidence=evidence)
    assert 0 <= less.confidence <= more.confidence <= 1


@given(st.integers(0, 10_000), st.integers(0, 60))
def test_confidence_is_a_probability_for_any_sound(seed: int, steps: int) -> None:
    """Whatever the network says, in any number of steps, no error and no number outside 0 to 1."""
    draws = np.random.default_rng(seed)
    logs = np.log(draws.dirichlet(np.full(OUTPUTS, 0.05), steps) + 1e-12).astype(np.float32)
    known = measured(heard(("dark", 0.6), ("dim", 0.4)), GRAMMAR, logs.reshape(-1, OUTPUTS), EVIDENCE)
    if known is not None:
        assert all(math.isfinite(value) for value in known.measures.values())
        assert 0 <= CALIBRATION.probability(known.measures) <= 1
