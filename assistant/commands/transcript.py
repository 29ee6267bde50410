"""A recorded session as a running dialogue: every phrase, key and spoken sentence with its time."""

from __future__ import annotations

from typing import TYPE_CHECKING, TextIO

from assistant.core.values.events import Heard, Interrupted, KeyPressed, NoMatch, Note, Say
from assistant.screen.terminal import LineScreen

if TYPE_CHECKING:
    from assistant.record.recorded import RecordedSession


def show(session: RecordedSession, stream: TextIO) -> None:
    """Write the dialogue of a session to a stream, a line for each utterance."""
    screen = LineScreen(stream)
    for line in session.lines:
        event = line.event
        if isinstance(event, Heard):
            screen.heard(event.words, event.at)
        elif isinstance(event, NoMatch | Interrupted):
            screen.heard(event.shown, event.at, understood=False)
        elif isinstance(event, KeyPressed):
            screen.key(event.shown, event.at)
        for action in line.actions:
            if isinstance(action, Say):
                screen.says(action.text, event.at)
            elif isinstance(action, Note) and type(action.entry).__name__ == "ResultTaken":
                entry = action.entry
                screen.notice(f"result {entry.number}: {entry.step} {entry.outcome}", event.at)  # type: ignore[attr-defined]
    screen.close()
