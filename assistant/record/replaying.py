"""Replay: feeding the recorded events to the dialogue again must cause the recorded actions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from assistant.core.dialogue.runner import Runner
from assistant.core.values.events import Action, Event, Say
from assistant.record.reading import read_session, recorded_folder

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.core.values.thresholds import Thresholds
    from assistant.record.recorded import RecordedSession


class Replayable(Protocol):
    """A dialogue that takes events and answers with actions."""

    def receive(self, event: Event) -> tuple[Action, ...]:
        """Return the actions that this event causes."""


@dataclass(frozen=True)
class Difference:
    """A line whose event now causes different actions."""

    line: int
    event: Event
    recorded: tuple[Action, ...]
    now: tuple[Action, ...]

    def __str__(self) -> str:
        return (
            f"line {self.line}: {type(self.event).__name__} caused {_summary(self.recorded)} when it was recorded, "
            f"and {_summary(self.now)} now"
        )


def _summary(actions: tuple[Action, ...]) -> str:
    """The spoken words, or else the actions, in short."""
    said = [f'"{action.text}"' for action in actions if isinstance(action, Say)]
    return " ".join(said) or ", ".join(type(action).__name__ for action in actions) or "nothing"


def other_likelihoods(session: RecordedSession, installed: Knowledge | None) -> str:
    """A sentence if a session was weighed with other likelihoods than the installed ones; "" if with the same.

    A session keeps its own copy, so its replay weighs with those; a new session would weigh with the installed ones.
    """
    recorded = session.header.likelihoods
    now = installed.version if installed else ""
    if recorded == now:
        return ""
    return (
        f"The session was weighed with {f'likelihoods {recorded}' if recorded else 'no likelihoods'}, and is replayed "
        f"so; this program has {f'likelihoods {now}' if now else 'none'}."
    )


def replay(
    folder: Path, begin: Callable[[Library, Knowledge | None, Thresholds], Replayable] = Runner
) -> list[Difference]:
    """Feed the recorded events to a fresh dialogue with the recorded procedures and limits.

    Args:
        folder: The session.
        begin: Makes a fresh dialogue.

    Returns:
        The lines that differ, in order; none if the session is reproduced.

    Raises:
        RecordProblem: The folder is not a session.
        RecordBroken: It, or its copied procedures, were altered.
        FileProblem: Its copied procedures cannot be loaded by this version.
    """
    session = read_session(folder)
    dialogue = begin(*recorded_folder(session), session.header.thresholds)
    return [
        Difference(line.number, line.event, line.actions, actions)
        for line in session.lines
        if (actions := dialogue.receive(line.event)) != line.actions
    ]
