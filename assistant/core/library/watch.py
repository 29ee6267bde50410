"""Watched steps: the technician wiggles, warms or mists something, and calls out each change of lamp or meter."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.procedure import Engine
from assistant.core.library.vocabulary import CHANGED, UNCHANGED, WATCHED
from assistant.errors import FileProblem

if TYPE_CHECKING:
    from assistant.core.library.procedure import Measurement
    from assistant.core.library.reader import Reader
    from assistant.core.library.terms import Terms


def is_watched(step: str, item: Reader, measure: Measurement, given: tuple[str, ...], terms: Terms) -> bool:
    """Whether a step is watched: nobody cranks meanwhile, and it has the two answers that follow from the changes."""
    if not item.flag("watch"):
        return False

    def refuse(line: int, what: str, instead: str) -> FileProblem:
        return FileProblem(item.path, line, f"step '{step}' is watched, {what}", instead)

    if measure.engine in (Engine.CRANKING, Engine.RUNNING):
        cranks = f"but its engine state is '{measure.engine}'"
        raise refuse(
            item.line("watch"), cranks, "Watch only with the key on or off: nobody cranks for minutes"
        )
    if set(given) != {CHANGED, UNCHANGED}:
        needed = f"Give it the answers '{CHANGED}' and '{UNCHANGED}', and no others"
        raise refuse(item.line("watch"), f"but its answers are {', '.join(given)}", needed)
    if missing := [name for name in WATCHED if name not in terms.outcomes]:
        raise refuse(
            item.line("watch"), f"and the terms lack the outcome '{missing[0]}'", "Add it to terms.yaml"
        )
    return True
