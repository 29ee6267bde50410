"""A cell of the state table: the handler of a trigger, and the states to which it may lead."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from assistant.core.dialogue.states import State
from assistant.core.dialogue.talk import Talk
from assistant.core.dialogue.triggers import Meaning

_Carried = TypeVar("_Carried")

STAY: frozenset[State] = frozenset()
"""`Cell.to` of a cell that keeps the state."""


@dataclass(frozen=True, slots=True)
class Cell(Generic[_Carried]):
    """A state's reaction to a trigger; the types ensure that the handler takes the trigger's payload.

    Attributes:
        trigger: The trigger.
        handler: Answers it, and returns the next state.
        to: States that may follow; `STAY` if only the present one may.
    """

    trigger: Meaning[_Carried]
    handler: Callable[[Talk, _Carried], State]
    to: frozenset[State] = STAY


Row = dict[Meaning[Any], Cell[Any]]
"""The cells of a state, by trigger; a missing cell refuses that trigger."""


def row(*cells: Cell[Any], over: Row | None = None) -> Row:
    """A row of these cells, which replace cells of the same trigger in the row `over`."""
    return {**(over or {}), **{cell.trigger: cell for cell in cells}}


def cell_of(cells: Row, trigger: Meaning[_Carried]) -> Cell[_Carried] | None:
    """The cell for this trigger; None if the trigger is refused."""
    return cells.get(trigger)


def only(*states: State) -> frozenset[State]:
    """Exactly these states may follow."""
    return frozenset(states)
