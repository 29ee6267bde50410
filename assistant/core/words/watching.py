"""The words for changes that a technician calls out in a watched step."""

from __future__ import annotations

from assistant.core.words.placing import capital


def counted(changes: int) -> str:
    """A number of changes: "no change", "1 change", "3 changes"."""
    return {0: "no change", 1: "1 change"}.get(changes, f"{changes} changes")


def echo(outcome: str, changes: int, *, again: bool) -> str:
    """What is said after a change: "Out. 1 change."; after the same again: "Still out."."""
    return f"Still {outcome}." if again else f"{capital(outcome)}. {capital(counted(changes))}."


def undone(outcome: str, changes: int) -> str:
    """What is said after a change was taken back: "Undone: out. No change."."""
    return f"Undone: {outcome}. {capital(counted(changes))}."


def ended(changes: int) -> str:
    """The read-back when the watching has ended: "3 changes."."""
    return f"{capital(counted(changes))}."
