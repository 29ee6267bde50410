"""Replay: the recorded events, fed to the dialogue again, must cause the recorded actions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from assistant.core.events import Action, Event
from assistant.core.loading import load_library
from assistant.core.runner import Runner
from assistant.record.header import PROCEDURES
from assistant.record.reading import read_session

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assistant.core.policy import Thresholds
    from assistant.core.procedure import Library


class Dialogue(Protocol):
    """What takes events and answers with actions."""

    def receive(self, event: Event) -> tuple[Action, ...]:
        """The actions that this event causes."""


@dataclass(frozen=True)
class Difference:
    """A line whose event causes other actions now than it did then."""

    line: int
    event: Event
    recorded: tuple[Action, ...]
    now: tuple[Action, ...]


def replay(folder: Path, begin: Callable[[Library, Thresholds], Dialogue] = Runner) -> list[Difference]:
    """Feed the recorded events to a fresh dialogue with the recorded procedures and limits.

    Args:
        folder: The session.
        begin: Makes the dialogue.

    Returns:
        The lines that differ, in order; none when the session is reproduced.

    Raises:
        RecordProblem: The folder is not a session.
        RecordBroken: It was altered.
        FileProblem: Its copied procedures cannot be loaded by this version.
    """
    session = read_session(folder)
    dialogue = begin(load_library(folder / PROCEDURES), session.header.thresholds)
    return [
        Difference(line.number, line.event, line.actions, actions)
        for line in session.lines
        if (actions := dialogue.receive(line.event)) != line.actions
    ]
