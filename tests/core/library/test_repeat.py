"""A step that repeats an earlier measurement, and what a file may say about it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from recorded import library

from assistant.core.library.procedure_file import parse_procedure
from assistant.core.library.repeat import FAILED, NOT_YET, PASSED, repeated
from assistant.core.library.vocabulary import SENSES, UNJUDGED
from assistant.errors import FileProblem

if TYPE_CHECKING:
    from assistant.core.library.procedure import Procedure, Step

OWN = library().step("after-repair", "failed-test")


def judging() -> list[tuple[Procedure, Step]]:
    """Every shipped step of an instrument that has one good outcome."""
    return [
        (procedure, step)
        for procedure in library().procedures.values()
        for step in procedure.steps.values()
        if step.measure.instrument not in SENSES and step.good is not None
    ]


def test_it_is_the_same_measurement_with_its_limits_and_cautions() -> None:
    """For every shipped test: same connection, engine, unit and limits, and every caution and hazard covered."""
    assert len(judging()) > 100
    for procedure, step in judging():
        again = repeated(OWN, step, 7, procedure.cautions)
        assert step.measure == again.measure
        assert step.heard == again.heard
        assert {*step.cautions, *procedure.cautions} == set(again.cautions)
        covered = {hazard for name in again.cautions for hazard in library().cautions[name].covers}
        assert set(step.measure.hazards()) <= covered
        if step.reading and again.reading:
            assert (step.reading.unit, step.reading.plausible) == (
                again.reading.unit,
                again.reading.plausible,
            )
            assert [(one.low, one.high, one.source) for one in step.reading.bands] == [
                (one.low, one.high, one.source) for one in again.reading.bands
            ]
        assert (OWN.name, 7) == (again.name, again.of)


def test_only_the_good_outcome_leads_on() -> None:
    """Within the good limit it goes on, anything else is not fixed; what cannot be judged or is skipped is open."""
    places = {name: OWN.answer(name) for name in (PASSED, FAILED, NOT_YET)}
    for procedure, step in judging():
        again = repeated(OWN, step, 7, procedure.cautions)
        for answer in again.choices():
            expected = PASSED if answer.outcome == step.good else FAILED
            assert places[expected] == again.answered(answer.outcome)
            assert places[expected].target == answer.target  # type: ignore[union-attr]
            assert () == answer.rules_out
        assert places[NOT_YET] == again.answered(UNJUDGED)
        assert places[NOT_YET].target == again.if_skipped  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (b"repeat: deciding", b"repeat: first", "measurement to repeat"),
        (b"      not-yet: {verdict: measure-first}\n", b"", "lacks the answer 'not-yet'"),
    ],
)
def test_a_mistake_in_the_file_is_told(old: bytes, new: bytes, says: str) -> None:
    """An unknown measurement, or a way that is missing, is refused with its line."""
    known = library()
    path = known.procedures["after-repair"].file
    data = Path(path).read_bytes()
    assert old in data
    with pytest.raises(FileProblem, match=says):
        parse_procedure(data.replace(old, new, 1), path, known.terms, known.cautions)
