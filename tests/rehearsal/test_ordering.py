"""The lint judges the order of instructions, the names of readings, and what is asked."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from shipped import shipped_library

from assistant.rehearsal.ordering import MOST_CHOICES, findings

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Procedure, Step

LIBRARY = shipped_library()
PROCEDURE = LIBRARY.procedures["feed-dead"]
STEP = PROCEDURE.steps["feed-key-on"]


def problems(library: Library) -> list[str]:
    """The problems that are found."""
    return [finding.problem for finding in findings(library, lambda name: name)]


def with_step(step: Step) -> Library:
    """The library with this step in the place of `STEP`."""
    return with_procedure(replace(PROCEDURE, steps=PROCEDURE.steps | {STEP.name: step}))


def with_procedure(procedure: Procedure) -> Library:
    """The library with this procedure in the place of the one of its name."""
    return replace(LIBRARY, procedures=LIBRARY.procedures | {procedure.name: procedure})


def with_lamp(**changes: object) -> Library:
    """The library with another test lamp."""
    terms = LIBRARY.terms
    lamp = replace(terms.instruments["test-lamp"], **changes)  # type: ignore[arg-type]
    return replace(LIBRARY, terms=replace(terms, instruments=terms.instruments | {"test-lamp": lamp}))


def test_what_is_shipped_has_no_finding() -> None:
    """Every step after everything that can be connected before it."""
    assert problems(LIBRARY) == []


def test_a_proof_that_cannot_light_the_lamp_is_found() -> None:
    """With the clip on positive, touching positive proves nothing."""
    prove = {"battery-positive": "Touch battery positive: lamp must light."}
    assert any("cannot light" in problem for problem in problems(with_lamp(prove=prove)))


def test_a_proof_before_the_clip_is_found() -> None:
    """A clip that is told with the probe comes too late for the proof."""
    lamp = LIBRARY.terms.instruments["test-lamp"]
    proof = lamp.prove["battery-negative"]
    found = problems(with_lamp(prepare=proof))
    assert any("proved before its clip" in problem for problem in found)


def test_a_reading_without_its_own_name_is_found() -> None:
    """A drop would be read back as if the battery stood at 0.12 V."""
    library = replace(LIBRARY, terms=replace(LIBRARY.terms, called={}))
    assert any("between two places is read back as 'battery positive'" in text for text in problems(library))


def test_a_caution_that_forbids_what_is_asked_for_is_found() -> None:
    """Hands off the coil, it says, and then: probe the feed side of the coil."""
    name = STEP.cautions[0]
    caution = replace(LIBRARY.cautions[name], short="Hands off coil and leads.")
    library = replace(LIBRARY, cautions=LIBRARY.cautions | {name: caution})
    assert any(f"'{name}' forbids what the step asks for" in problem for problem in problems(library))


def test_more_choices_than_can_be_held_are_found() -> None:
    """Six words in one question are one too many, at a step and at a fact."""
    extra = tuple(
        replace(STEP.answers[0], outcome=name) for name in ("strong-spark", "weak-spark", "no-spark")
    )
    library = with_step(replace(STEP, answers=(*STEP.answers, *extra)))
    assert any("choices" in problem for problem in problems(library))
    facts = LIBRARY.terms.facts
    many = {f"choice-{number}": f"choice {number}" for number in range(MOST_CHOICES + 1)}
    fact = replace(facts["crank-by"], choices=many)
    library = replace(LIBRARY, terms=replace(LIBRARY.terms, facts=facts | {"crank-by": fact}))
    assert any("'crank-by' has 6 choices" in problem for problem in problems(library))


def test_a_question_in_a_result_is_found() -> None:
    """After a result nobody can answer it."""
    name, verdict = next(iter(PROCEDURE.verdicts.items()))
    asking = replace(verdict, says="Is the key good?")
    library = with_procedure(replace(PROCEDURE, verdicts=PROCEDURE.verdicts | {name: asking}))
    assert any(f"verdict {name}: it asks" in problem for problem in problems(library))
