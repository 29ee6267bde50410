"""A voice note in a write-up: the sound, and words beside it that are never taken for anything but what they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from assistant.writeup.statement import Source, capital

if TYPE_CHECKING:
    from collections.abc import Sequence

BY_MACHINE = "transcribed by machine, not checked"
"""Stands before the words of a voice note that nobody checked, wherever they are shown."""


@dataclass(frozen=True)
class VoiceNote:
    """Free speech that was kept as sound, and its words if somebody or something wrote them down.

    Attributes:
        number: 1, 2, 3 … in the session.
        time: Time of day.
        place: Its place in the procedure.
        clip: File of the sound.
        seconds: Its length.
        words: Its words on one line; "" if nobody wrote them down.
        by: Whose words they are: "transcribed by machine, not checked", or "checked by" with the reviewer's name.
    """

    number: int
    time: str
    place: str
    clip: str
    seconds: str
    words: str
    by: str
    sources: tuple[Source, ...] = ()


def noted(note: VoiceNote, duration_s: float) -> dict[str, Any]:
    """A voice note as JSON, for a script; its length is that of the record, s, where `VoiceNote` has it in words."""
    return {
        "note": note.number,
        "time": note.time,
        "place": note.place,
        "clip": note.clip,
        "duration_s": round(duration_s, 3),
        "words": note.words,
        "by": note.by,
    }


def title(notes: Sequence[VoiceNote]) -> str:
    """The title of the voice notes, with what to make of their words in brackets."""
    if any(one.by == BY_MACHINE for one in notes):
        return "Voice notes (the sound counts: a machine mishears words)"
    if any(one.by for one in notes):
        return "Voice notes (sound, and its words)"
    return "Voice notes (sound, not written down)"


def shown(note: VoiceNote) -> str:
    """A voice note on one line; its words come last, so that nothing of ours can be mistaken for them."""
    sound = f"{note.number}. {note.time} {note.clip}, {note.seconds} ({note.place})"
    return f"{sound}. {capital(note.by)}: {note.words}" if note.by else sound
