"""Replay: feeding the recorded events to the dialogue again must cause the recorded actions.

A session that was recorded under earlier rules is spoken to in today's words, so only its decisions are compared:
every entry of the record, every timer, and how often and why something was said.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

from assistant.core.dialogue.runner import Runner
from assistant.core.values.entries import LedBack, ModeChanged, Remark
from assistant.core.values.events import Action, Event, Listen, Note, Say, Show
from assistant.core.values.thresholds import RULES
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


def decided(actions: tuple[Action, ...]) -> tuple[Action, ...]:
    """The actions without their wording, the board and the words to listen for, which change with the version."""
    return tuple(_unworded(action) for action in actions if not isinstance(action, Listen | Show))


def _unworded(action: Action) -> Action:
    if isinstance(action, Say):
        return replace(action, text="")
    if isinstance(action, Note) and isinstance(action.entry, Remark):
        return Note(replace(action.entry, text=""))
    if isinstance(action, Note) and isinstance(action.entry, LedBack):
        return Note(replace(action.entry, says="", next=""))
    if isinstance(action, Note) and isinstance(action.entry, ModeChanged):
        return Note(replace(action.entry, why=""))
    return action


def earlier_rules(session: RecordedSession) -> bool:
    """Whether a session was recorded under earlier rules, so that only its decisions can be compared."""
    return session.header.thresholds.rules < RULES


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
    folder: Path,
    begin: Callable[[Library, Knowledge | None, Thresholds], Replayable] = Runner,
    progress: Callable[[float, float], None] = lambda _done, _all: None,
) -> list[Difference]:
    """Feed the recorded events to a fresh dialogue with the recorded procedures and limits.

    Args:
        folder: The session.
        begin: Makes a fresh dialogue.
        progress: Called with (done, total) lines.

    Returns:
        The lines that differ, in order; none if the session, or the decisions of one with earlier rules, are
        reproduced.

    Raises:
        RecordProblem: The folder is not a session.
        RecordBroken: It, or its copied procedures, were altered.
        FileProblem: Its copied procedures cannot be loaded by this version.
    """
    session = read_session(folder)
    dialogue = begin(*recorded_folder(session), session.header.thresholds)
    compared = decided if earlier_rules(session) else tuple
    found = []
    for done, line in enumerate(session.lines):
        progress(done, len(session.lines))
        actions = dialogue.receive(line.event)
        if compared(actions) != compared(line.actions):
            found.append(Difference(line.number, line.event, line.actions, actions))
    return found
