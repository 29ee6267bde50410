"""The shop's own findings in a session: they are said, they weigh, and they lead nowhere by themselves."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from hypothesis import given, settings, strategies as st
from sample_knowledge import CIRCUIT, knowing
from sample_library import sample_library

from assistant.core.dialogue.states import State
from assistant.core.reasoning.evidence import assess
from assistant.core.reasoning.odds import Findings
from assistant.core.values import entries
from assistant.core.values.result import Control
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.core.reasoning.knowledge import Knowledge

LIBRARY = sample_library()
PLAIN = knowing(LIBRARY)
FAULTS = list(LIBRARY.terms.faults)


def counting(cars: dict[str, float]) -> Knowledge:
    """The knowledge with these findings of the shop on the circuit of the control test."""
    return replace(PLAIN, odds=replace(PLAIN.odds, findings=Findings({CIRCUIT: cars})))


def walk(knowledge: Knowledge, picks: list[int]) -> Dialogue:
    """A control test in which the answers are taken by these numbers; everything is affirmed at once."""
    talk = Dialogue(LIBRARY, knowledge=knowledge)
    talk.begin("coil-control")
    left: Iterator[int] = iter(picks)
    for _ in range(200):
        state = talk.runner.state
        if state is State.INQUIRING:
            talk.hear(control=Control.LEAVE_BLANK)
        elif state is State.ACKNOWLEDGING:
            talk.ready()
        elif state is State.RESTING:
            talk.rested()
        elif state is State.READING_BACK:
            talk.hear(control=Control.AFFIRM)
        elif state is State.ASKING:
            pick = next(left, None)
            position = talk.runner.position
            if pick is None or position is None:
                break
            step = LIBRARY.step(*position)
            if step.reading:
                talk.hear(value=str(pick % 17), unit=step.reading.unit)
            else:
                talk.hear(step.answers[pick % len(step.answers)].outcome)
        else:
            break
    return talk


def taken(talk: Dialogue) -> list[entries.ResultTaken]:
    """All results, also those that were taken back."""
    return [entry for entry in talk.entries if isinstance(entry, entries.ResultTaken)]


@settings(max_examples=40)
@given(
    st.lists(st.integers(0, 200), max_size=8),
    st.dictionaries(st.sampled_from(FAULTS), st.integers(1, 5000), max_size=3),
)
def test_history_never_changes_where_an_answer_leads(picks: list[int], cars: dict[str, int]) -> None:
    """Each answer leads where the procedure says; until something is doubted, the way is the same step for step."""
    with_it, without = walk(counting(dict(cars)), picks), walk(PLAIN, picks)
    for talk in (with_it, without):
        for result in taken(talk):
            answer = LIBRARY.step(result.procedure, result.step).answer(result.outcome)
            assert answer is not None
            assert str(answer.target) == result.next
    doubted = [entry for talk in (with_it, without) for entry in talk.entries]
    if not any(isinstance(entry, entries.ResultUndone) for entry in doubted):
        assert [(one.step, one.next) for one in taken(without)] == [
            (one.step, one.next) for one in taken(with_it)
        ]
        assert without.runner.position == with_it.runner.position


def test_history_weighs_but_takes_no_fault_out() -> None:
    """A thousand cars with one fault: it is likelier before any test, and every other one is still possible."""
    before, after = (
        assess(LIBRARY, knowledge, CIRCUIT, (), DEFAULT_THRESHOLDS)
        for knowledge in (PLAIN, counting({"driver-dead": 1000}))
    )
    assert before is not None
    assert after is not None
    assert (0, 1000) == (before.counted, after.counted)
    assert after.posterior["driver-dead"] > 0.9 > before.posterior["driver-dead"]
    assert before.posterior.keys() == after.posterior.keys()
    assert min(after.posterior.values()) > 0


def test_why_says_in_one_sentence_how_many_findings_count() -> None:
    """Said when there are some, for one in the singular, and not at all when there are none."""
    for cars, sentence in (
        ({"open-feed": 3.0, "no-inputs": 1.0}, "That counts 4 past jobs of this shop."),
        ({"open-feed": 1.0}, "That counts 1 past job of this shop."),
        ({"weak-battery": 1.0}, ""),  # no fault of this circuit
    ):
        talk = walk(counting(cars), [0])
        talk.hear(control=Control.WHY)
        assert "Most likely now" in talk.last
        assert talk.last.count("of this shop") == bool(sentence)
        assert sentence in talk.last
