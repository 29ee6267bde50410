"""The voice notes: sound, and the words that a machine or a person wrote down of it.

This is the only part of the write-up that gets to see transcripts. What a machine wrote stands here, marked as that,
and nowhere else.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.values.entries import VoiceNoteTaken
from assistant.record.transcripts import latest
from assistant.writeup.naming import place, place_sources
from assistant.writeup.statement import clock, line, review, transcript
from assistant.writeup.voice_notes import BY_MACHINE, VoiceNote

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.core.library.library import Library
    from assistant.record.course import Course
    from assistant.record.reviews import Review
    from assistant.record.transcripts import Transcript
    from assistant.writeup.statement import Source


def notes(
    library: Library, course: Course, transcripts: Sequence[Transcript], reviews: Sequence[Review]
) -> tuple[VoiceNote, ...]:
    """The voice notes in order, with their words if there are any.

    The words of the last review that has some stand instead of a machine's.
    """
    written = latest(transcripts)
    found = []
    taken = [dated for dated in course.entries if isinstance(dated.entry, VoiceNoteTaken)]
    for number, dated in enumerate(taken, start=1):
        entry = dated.entry
        if not isinstance(entry, VoiceNoteTaken):
            continue
        words, by, sources = _words(entry.clip, written.get(entry.clip), reviews)
        found.append(
            VoiceNote(
                number=number,
                time=clock(dated.time),
                place=place(library, entry.procedure, entry.step),
                clip=entry.clip,
                seconds=f"{entry.duration_s:.1f} s",
                words=words,
                by=by,
                sources=(*line(dated.line), *place_sources(library, entry.procedure, entry.step), *sources),
            )
        )
    return tuple(found)


def _words(
    clip: str, written: Transcript | None, reviews: Sequence[Review]
) -> tuple[str, str, tuple[Source, ...]]:
    """The words of a note, who stands for them, and where that was read."""
    for one in reversed(reviews):
        for checked in one.details.notes:
            if checked.clip == clip:
                by = f"checked by {one.reviewer}" if one.reviewer else f"checked in review {one.number}"
                return checked.words, by, review(one.number)
    if written is None:
        return "", "", ()
    return written.words, BY_MACHINE, transcript(written.number)
