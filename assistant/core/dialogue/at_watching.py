"""Handlers while a step is watched: each change is noted and the step goes on, until "that is all"."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.dialogue.memory import Counters
from assistant.core.values.entries import ChangeSeen, ChangeUndone
from assistant.core.values.events import Speech
from assistant.core.words import watching

if TYPE_CHECKING:
    from assistant.core.dialogue.states import State
    from assistant.core.dialogue.talk import Talk
    from assistant.core.dialogue.triggers import By, ChangeTold


def change(talk: Talk, told: ChangeTold) -> State:
    """The lamp or the meter shows something else now: note it, say it back in a word, and keep watching.

    The same again is no change.
    """
    seen, source = talk.awaited.changes, told.source
    again = bool(seen) and seen[-1].outcome == told.outcome
    if not again:
        noted = ChangeSeen(
            told.outcome,
            *talk.position,
            len(seen) + 1,
            source.how,
            source.words,
            source.confidence,
            source.clip,
        )
        talk.note(noted)
        talk.awaited.changes = (*seen, noted)
    return _echo(talk, watching.echo(_spoken(talk, told.outcome), len(talk.awaited.changes), again=again))


def undo(talk: Talk, by: By) -> State:
    """Take the last change back, and keep watching."""
    *left, last = talk.awaited.changes
    talk.note(ChangeUndone(last.number, last.outcome, *talk.position, by.how))
    talk.awaited.changes = tuple(left)
    return _echo(talk, watching.undone(_spoken(talk, last.outcome), len(left)))


def _spoken(talk: Talk, outcome: str) -> str:
    return talk.library.terms.outcomes[outcome].spoken


def _echo(talk: Talk, text: str) -> State:
    talk.awaited.counters = Counters()
    talk.said.message = talk.said.typed = ""
    talk.say(text, Speech.HELP)
    return talk.state
