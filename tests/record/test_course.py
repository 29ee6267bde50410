"""The course of a session: what counts and where it stands."""

from __future__ import annotations

from datetime import UTC, datetime

from hypothesis import given, strategies as st

from assistant.core.values.entries import (
    Entry,
    ProcedureEntered,
    ResultTaken,
    ResultUndone,
    StepSkipped,
    VerdictReached,
)
from assistant.record.course import Course, Dated, follow

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)


def result(number: int, step: str, following: str, procedure: str = "feed") -> ResultTaken:
    """A lamp result."""
    return ResultTaken(
        number, procedure, step, "lit", None, None, "keypad", "1", 1.0, None, "taken", None, following
    )  # fmt: skip


def after(*entries: Entry) -> Course:
    """The course after these entries, one a line."""
    return follow(Dated(NOON, line, entry) for line, entry in enumerate(entries, start=1))


def test_it_stands_where_the_last_answer_led() -> None:
    """Step, start of a procedure, and verdict follow from the last answer or skip."""
    course = after(ProcedureEntered("feed"))
    assert ("feed", "") == (course.procedure, course.step)
    course = after(ProcedureEntered("feed"), result(1, "a", "step:b"))
    assert ("feed", "b") == (course.procedure, course.step)
    course = after(ProcedureEntered("feed"), StepSkipped("feed", "a", "no meter", "step:c"))
    assert ("feed", "c") == (course.procedure, course.step)
    course = after(ProcedureEntered("feed"), result(1, "a", "procedure:coil"))
    assert ("coil", "") == (course.procedure, course.step)


def test_what_was_taken_back_stays_but_does_not_count() -> None:
    """A correction marks its result, leads back to its step, and the new result counts."""
    course = after(
        ProcedureEntered("feed"), result(1, "a", "step:b"), ResultUndone(1, "feed", "a", "voice")
    )  # fmt: skip
    assert ("feed", "a") == (course.procedure, course.step)
    assert [1] == [taken.result.number for taken in course.results]
    assert [] == course.standing()
    again = after(
        ProcedureEntered("feed"), result(1, "a", "step:b"), ResultUndone(1, "feed", "a", "voice"),
        result(2, "a", "step:c"),
    )  # fmt: skip
    assert [2] == [taken.result.number for taken in again.standing()]
    assert "c" == again.step


def test_a_skip_can_be_taken_back() -> None:
    """A skipped step that is done after all is marked; a verdict that rested on the skip is withdrawn."""
    start = (
        ProcedureEntered("feed"), StepSkipped("feed", "a", "no tool", "verdict:good"),
        VerdictReached("feed", "good", affirmed=True),
    )  # fmt: skip
    assert after(*start).verdict() is not None
    course = after(*start, ResultUndone(0, "feed", "a", "voice"))
    assert course.verdict() is None
    assert [True] == [passed.undone is not None for passed in course.skipped]
    assert ("feed", "a") == (course.procedure, course.step)


def test_a_verdict_counts_when_affirmed_and_while_its_results_stand() -> None:
    """A verdict only read out does not count; affirmed it does; taking back a result under it withdraws it."""
    told = VerdictReached("feed", "good", affirmed=False)
    affirmed = VerdictReached("feed", "good", affirmed=True)
    start = (ProcedureEntered("feed"), result(1, "a", "verdict:good"))
    assert after(*start, told).verdict() is None
    course = after(*start, told, affirmed)
    assert "good" == getattr(course.verdict(), "verdict", None)
    assert 1 == len(course.verdicts)
    assert after(*start, told, affirmed, ResultUndone(1, "feed", "a", "keypad")).verdict() is None


def test_an_earlier_verdict_survives_a_correction_in_a_later_procedure() -> None:
    """The battery stays good when a coil result is taken back."""
    course = after(
        ProcedureEntered("battery"), result(1, "rest", "verdict:able", "battery"),
        VerdictReached("battery", "able", affirmed=True),
        ProcedureEntered("coil", "battery"), result(2, "feed", "step:switched", "coil"),
        ResultUndone(2, "coil", "feed", "voice"),
    )  # fmt: skip
    verdict = course.verdict()
    assert verdict is not None
    assert "able" == verdict.verdict
    assert ["battery", "coil"] == course.procedures
    assert ("coil", "feed") == (course.procedure, course.step)


TARGETS = ["step:b", "verdict:v", "procedure:q"]
ENTRIES = st.one_of(
    st.builds(ProcedureEntered, st.sampled_from("pq")),
    st.builds(result, st.integers(1, 5), st.sampled_from("ab"), st.sampled_from(TARGETS)),
    st.builds(ResultUndone, st.integers(1, 5), st.just("p"), st.sampled_from("ab"), st.just("voice")),
    st.builds(StepSkipped, st.just("p"), st.just("a"), st.text(), st.sampled_from(["step:b", ""])),
    st.builds(VerdictReached, st.just("p"), st.just("v"), st.booleans()),
)  # fmt: skip


@given(st.lists(ENTRIES, max_size=20))
def test_no_order_of_entries_loses_a_result(entries: list[Entry]) -> None:
    """Every result that was taken is in the course exactly once, in order, whatever happens around it."""
    course = after(*entries)
    assert [e for e in entries if isinstance(e, ResultTaken)] == [taken.result for taken in course.results]
    assert set(map(id, course.standing())) <= set(map(id, course.results))
