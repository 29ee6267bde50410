"""How an answer is graded, and how prompts taper."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, strategies as st
from sample_library import sample_library

from assistant.core.dialogue.policy import Acceptance, grade, tapered
from assistant.core.library.procedure import Leads
from assistant.measured import DEFAULT_THRESHOLDS

LIBRARY = sample_library()
STEPS = [step for procedure in LIBRARY.procedures.values() for step in procedure.steps.values()]


@given(step=st.sampled_from(STEPS), confidence=st.floats(0, 1), which=st.integers(0, 20))
def test_a_verdict_or_a_number_is_always_affirmed(step, confidence, which) -> None:  # noqa: ANN001
    """A costly answer is never taken without a yes, at any confidence; one that leads on is read back at least."""
    answer = step.choices()[which % len(step.choices())]
    acceptance = grade(step, answer, confidence, DEFAULT_THRESHOLDS)
    if step.reading or answer.target.leads is Leads.VERDICT:
        assert acceptance is Acceptance.AFFIRM
    elif answer.target.leads is Leads.PROCEDURE and len(step.choices()) > 1:
        assert acceptance is not Acceptance.TAKEN


def test_an_answer_leads_on_to_another_procedure_without_a_yes_unless_it_was_hardly_heard() -> None:
    """It condemns nothing and can be corrected; a session of earlier rules asked for the yes, and still does."""
    step = LIBRARY.step("no-start", "safe-set-up")
    safe, limits = step.answers[0], DEFAULT_THRESHOLDS
    assert Acceptance.READ_BACK is grade(step, safe, 1.0, limits)
    assert Acceptance.AFFIRM is grade(step, safe, limits.ask_below - 0.01, limits)
    assert Acceptance.AFFIRM is grade(step, safe, 1.0, replace(limits, rules=1))


def test_a_sure_answer_to_another_step_is_read_back_inside_the_next_sentence() -> None:
    """Different next steps, high confidence: implicit read-back."""
    step = LIBRARY.step("coil-control", "switched-while-cranking")
    assert Acceptance.READ_BACK is grade(step, step.answers[2], 0.99, DEFAULT_THRESHOLDS)


def test_a_doubtful_answer_is_affirmed() -> None:
    """Under the limit for asking, the same answer must be affirmed."""
    step = LIBRARY.step("coil-control", "switched-while-cranking")
    below = DEFAULT_THRESHOLDS.ask_below - 0.01
    assert Acceptance.AFFIRM is grade(step, step.answers[2], below, DEFAULT_THRESHOLDS)


def test_the_same_next_step_whatever_was_meant_is_simply_taken() -> None:
    """When every answer leads to the same step, a mistake costs nothing."""
    step = LIBRARY.step("coil-control", "switched-while-cranking")
    same = replace(step, answers=tuple(replace(a, target=step.answers[0].target) for a in step.answers))
    assert Acceptance.TAKEN is grade(same, same.answers[0], 0.99, DEFAULT_THRESHOLDS)


def test_tapering_picks_as_voicexml_does() -> None:
    """Outside check: VoiceXML 2.0 section 4.1.6.

    The specification's selection: of the prompts whose count is at most the prompt counter, those with the
    highest count are chosen.
    With counts 1, 2 and 4 the third visit still takes the second prompt.
    """
    levels = {1: "first", 2: "second", 4: "fourth"}
    assert [tapered(levels, n) for n in range(1, 6)] == ["first", "second", "second", "fourth", "fourth"]


def test_a_counter_below_every_count_has_no_level() -> None:
    """VoiceXML's counters start at 1; a level for 0 does not exist."""
    with pytest.raises(ValueError, match="no level"):
        tapered({1: "first"}, 0)
