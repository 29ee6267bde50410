"""The measures that the confidence of an answer is made of, and that it is a probability."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, strategies as st

from assistant import resources
from assistant.core.values.result import GrammarRequest
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.confidence import MEASURES, Evidence, measures
from assistant.hearing.judge import judge
from assistant.hearing.recognition import Alternative, Recognition
from assistant.measured import CALIBRATION, DEFAULT_THRESHOLDS

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


def test_measures_are_what_they_are_called() -> None:
    """Shares as log-odds, the filler as a log ratio, pace against 0.1 s a phone (D AA R K has four)."""
    found = measures(heard(("dark", 0.75), ("[unk]", 0.25)), 0.75, GRAMMAR.lexicon, EVIDENCE)
    assert set(MEASURES) == set(found)
    assert pytest.approx(math.log(3)) == found["share"]
    assert pytest.approx(math.log(3)) == found["filler"]
    assert pytest.approx(math.log(2)) == found["pace"]
    assert pytest.approx(math.log(2) ** 2) == found["pace-squared"]
    assert 12.0 == found["snr"]


def test_what_is_not_known_is_left_out() -> None:
    """Without evidence, or without a ratio, those measures are absent and the probability can still be stated."""
    alone = measures(heard(("dark", 1.0)), 1.0, GRAMMAR.lexicon, None)
    assert {"share", "word", "filler"} == set(alone)
    assert (8.0, 8.0) == (alone["share"], alone["filler"])
    quiet = Evidence(0.9, 1.0, 0.8, None)
    assert "snr" not in measures(heard(("dark", 1.0)), 1.0, GRAMMAR.lexicon, quiet)
    assert 0 < CALIBRATION.probability(alone) < 1


def test_only_the_models_of_our_graphs_are_calibrated() -> None:
    """For another model the share is the confidence; for ours it is the measured probability."""
    shares = (("dark", 0.8), ("dim", 0.2))
    plain = judge(
        heard(*shares, calibrated=False), GRAMMAR, DEFAULT_THRESHOLDS, speech=True, evidence=EVIDENCE
    )
    ours = judge(heard(*shares), GRAMMAR, DEFAULT_THRESHOLDS, speech=True, evidence=EVIDENCE)
    assert pytest.approx(0.8) == plain.confidence
    known = measures(heard(*shares), 0.8, GRAMMAR.lexicon, EVIDENCE)
    assert pytest.approx(CALIBRATION.probability(known), abs=1e-4) == ours.confidence


@given(
    st.floats(0.5, 1.0), st.floats(0, 1), st.floats(0, 1), st.floats(0, 10), st.none() | st.floats(-20, 60)
)
def test_confidence_is_a_probability_and_grows_with_the_share(
    share: float, speech: float, voiced: float, speech_s: float, snr_db: float | None
) -> None:
    """For any evidence, it lies in 0 to 1 and is not lower for a recognition without rivals."""
    evidence = Evidence(speech, voiced, speech_s, snr_db)
    rivals = [("dark", share), ("dim", max(1e-6, 1 - share))]
    less = judge(heard(*rivals), GRAMMAR, DEFAULT_THRESHOLDS, speech=True, evidence=evidence)
    more = judge(heard(("dark", 1.0)), GRAMMAR, DEFAULT_THRESHOLDS, speech=True, evidence=evidence)
    assert 0 <= less.confidence <= more.confidence <= 1
