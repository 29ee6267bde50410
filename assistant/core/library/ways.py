"""Checks of the ways through a procedure: facts asked in time, every step reached, every hand-over possible."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.procedure import Leads
from assistant.core.library.reader import known_of
from assistant.core.library.tree import MapNode, TextNode
from assistant.errors import FileProblem

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.core.library.procedure import Procedure, Step, Target


def check_asked(procedure: Procedure, steps: MapNode, path: str) -> None:
    """Facts that a reading is judged by are asked for before it.

    Raises:
        FileProblem: One is not.
    """
    for name, step in procedure.steps.items():
        if step.reading is None:
            continue
        needed = (step.reading.subtract, step.reading.at_20_celsius, *step.reading.specified())
        for fact in filter(None, needed):
            if fact not in (*procedure.asks, *step.asks):
                raise FileProblem(
                    path,
                    steps.key_lines[name],
                    f"step '{name}' is judged by '{fact}', but neither the step nor the procedure asks for it",
                    f"Add 'asks: [{fact}]' to the step or the procedure",
                )


def targets(step: Step) -> Iterable[Target]:
    """Everything that this step can lead to, skipping included."""
    yield from (answer.target for answer in step.choices())
    if step.reading and step.reading.unjudged:
        yield step.reading.unjudged.target
    if step.if_skipped:
        yield step.if_skipped


def check_reachable(procedure: Procedure, steps: MapNode, verdicts: MapNode, path: str) -> None:
    """Every step and every verdict is led to by an answer.

    Raises:
        FileProblem: One is not.
    """
    reached: set[str] = set()
    ends: set[str] = set()
    waiting = [procedure.start]
    while waiting:
        name = waiting.pop()
        if name in reached:
            continue
        reached.add(name)
        for target in targets(procedure.steps[name]):
            if target.leads is Leads.STEP:
                waiting.append(target.name)
            elif target.leads is Leads.VERDICT:
                ends.add(target.name)
    for step, line in steps.key_lines.items():
        if step not in reached:
            raise FileProblem(
                path, line, f"no answer leads to step '{step}'", "Let an answer lead there, or remove it"
            )
    for verdict, line in verdicts.key_lines.items():
        if verdict not in ends:
            raise FileProblem(
                path,
                line,
                f"no answer leads to verdict '{verdict}'",
                "Let an answer lead there, or remove it",
            )


def check_hand_overs(procedure: Procedure, procedures: Iterable[str], lines: dict[str, int]) -> None:
    """Every procedure that this one hands over to exists.

    Args:
        procedure: The procedure.
        procedures: Names of all procedures.
        lines: Line of the first hand-over to each procedure, by its name.

    Raises:
        FileProblem: One does not exist.
    """
    names = list(procedures)
    for name, line in lines.items():
        known_of(TextNode(line, name), names, procedure.file, "procedure")
