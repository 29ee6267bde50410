"""Reads the part "rows" of the manifest."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.dialogue.states import State
from assistant.hearing_bench.plans import (
    CutPlan,
    DigitsPlan,
    HardshipsPlan,
    MissesPlan,
    NobodyPlan,
    OrdersPlan,
    RadioPlan,
    RowsPlan,
    SinglesPlan,
)

if TYPE_CHECKING:
    from assistant.hearing_bench.reader import StrictReader

STATES = tuple(state.value for state in State)
"""Names of the states of the dialogue."""


def rows_plan(
    reader: StrictReader,
    voices: tuple[str, ...],
    questions: tuple[str, ...],
    answers: tuple[str, ...],
    said: tuple[str, ...],
) -> RowsPlan:
    """The plans of all rows.

    Args:
        reader: The part of the manifest.
        voices: Names of the manifest's voices.
        questions: Names of its questions.
        answers: Names of its answers.
        said: Names of its sentences outside the grammars.

    Raises:
        FileProblem: Something is missing, unknown, or of the wrong kind.
    """

    def orders(r: StrictReader) -> OrdersPlan:
        return OrdersPlan(r.levels("levels_db"), r.levels("talk_db"), r.texts("voices", voices), _beside(r))

    def singles(r: StrictReader) -> SinglesPlan:
        return SinglesPlan(r.text("file"), r.whole("choices", 2, 100), r.levels("levels_db"), _beside(r))

    def radio(r: StrictReader) -> RadioPlan:
        return RadioPlan(
            r.texts("of", answers),
            r.whole("count", 1, 1000),
            r.levels("talk_db"),
            r.texts("voices", voices),
            r.texts("sentences"),
        )

    def hardships(r: StrictReader) -> HardshipsPlan:
        return HardshipsPlan(
            r.known("of", answers),
            r.whole("count", 1, 1000),
            r.numbers("levels_dbfs", -90, -6),
            r.numbers("over_db", 0, 40),
            r.number("room_s", 0.1, 5),
        )

    return RowsPlan(
        reader.inner("orders", orders),
        reader.inner("single-words", singles),
        reader.inner("radio", radio),
        reader.inner("hardships", hardships),
        reader.inner("cut-files", lambda r: _cut(r, voices, questions)),
        reader.inner("nobody", lambda r: _nobody(r, voices, questions, said)),
        reader.inner("made-misses", lambda r: _misses(r, voices, questions)),
        reader.inner("digits", lambda r: _digits(r, answers)),
    )


def _cut(r: StrictReader, voices: tuple[str, ...], questions: tuple[str, ...]) -> CutPlan:
    return CutPlan(r.texts("questions", questions), r.texts("voices", voices), r.whole("count", 1, 1000))


def _nobody(
    r: StrictReader, voices: tuple[str, ...], questions: tuple[str, ...], said: tuple[str, ...]
) -> NobodyPlan:
    return NobodyPlan(
        r.each("at", lambda one: _at(one, questions)),
        r.texts("of", said),
        r.texts("voices", voices),
        r.levels("levels_db"),
    )


def _misses(r: StrictReader, voices: tuple[str, ...], questions: tuple[str, ...]) -> MissesPlan:
    return MissesPlan(
        r.each("at", lambda one: _at(one, questions)),
        r.whole("count", 1, 1000),
        r.texts("voices", voices),
        r.levels("levels_db"),
    )


def _digits(r: StrictReader, answers: tuple[str, ...]) -> DigitsPlan:
    return DigitsPlan(r.known("of", answers), r.whole("count", 1, 1000), r.levels("levels_db"))


def _beside(reader: StrictReader) -> int:
    return reader.whole("beside", 1, 1000)


def _at(reader: StrictReader, questions: tuple[str, ...]) -> tuple[str, str]:
    return reader.known("question", questions), reader.known("state", STATES)
