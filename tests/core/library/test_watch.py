"""Steps that are watched, and what a file may say about them."""

from __future__ import annotations

import pytest
from recorded import library

from assistant.core.library.procedure_file import parse_procedure
from assistant.errors import FileProblem
from assistant.resources import directory

SHIPPED = (directory("procedures") / "intermittent.yaml").read_text(encoding="utf-8")


def refused(text: str) -> FileProblem:
    """What is said about this file."""
    known = library()
    with pytest.raises(FileProblem) as caught:
        parse_procedure(text.encode(), "intermittent.yaml", known.terms, known.cautions)
    return caught.value


@pytest.mark.parametrize("engine", ["cranking", "running"])
def test_nobody_cranks_for_as_long_as_something_is_watched(engine: str) -> None:
    """A watched step that turns the engine is refused at its line, even with every caution."""
    text = SHIPPED.replace("probe: misted, engine: key-on", f"probe: misted, engine: {engine}")
    text = text.replace("[live-circuit, no-water", "[secondary, cranking, live-circuit, no-water")
    problem = refused(text)
    line = next(
        number
        for number, words in enumerate(text.splitlines(), start=1)
        if "watch: true" in words and number > text[: text.index("  misted:")].count("\n")
    )
    assert f"intermittent.yaml:{line}" in str(problem)
    assert f"step 'misted' is watched, but its engine state is '{engine}'" in str(problem)


def test_the_answers_follow_from_the_changes_so_there_are_no_others() -> None:
    """A watched step with the answers of a look is refused, with what is right."""
    start = SHIPPED.index("  misted:")
    end = SHIPPED.index("verdicts:")
    misted = SHIPPED[start:end].replace("unchanged", "absent").replace("changed:", "found:")
    problem = refused(SHIPPED[:start] + misted + SHIPPED[end:])
    assert "step 'misted' is watched, but its answers are found, absent" in str(problem)
    assert "Give it the answers 'changed' and 'unchanged'" in str(problem)


def test_watch_is_true_or_false() -> None:
    """Another word there is refused."""
    assert "watch" in str(refused(SHIPPED.replace("watch: true", "watch: often", 1)))
