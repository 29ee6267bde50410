"""A cell of the table of states: what is done about a trigger, and where that may lead."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from assistant.core.dialogue.states import State
from assistant.core.dialogue.talk import Talk
from assistant.core.dialogue.triggers import Meaning

_Carried = TypeVar("_Carried")

STAY: frozenset[State] = frozenset()
"""`Cell.to` of a cell that leads nowhere else."""


@dataclass(frozen=True, slots=True)
class Cell(Generic[_Carried]):
    """What a state does about a trigger; the types see to it that the handler takes what the trigger carries.

    Attributes:
        trigger: What happened.
        handler: Answers it, and gives the state that follows.
        to: States that may follow; `STAY` if only the present one may.
    """

    trigger: Meaning[_Carried]
    handler: Callable[[Talk, _Carried], State]
    to: frozenset[State] = STAY


Row = dict[Meaning[Any], Cell[Any]]
"""The cells of a state, by trigger; one that is missing is the refusal of that trigger."""


def row(*cells: Cell[Any], over: Row | None = None) -> Row:
    """A row of these cells; they come instead of those of the row `over` which they are laid."""
    return {**(over or {}), **{cell.trigger: cell for cell in cells}}


def cell_of(cells: Row, trigger: Meaning[_Carried]) -> Cell[_Carried] | None:
    """The cell for this trigger; None if the trigger is refused."""
    return cells.get(trigger)


def only(*states: State) -> frozenset[State]:
    """Exactly these states may follow."""
    return frozenset(states)
