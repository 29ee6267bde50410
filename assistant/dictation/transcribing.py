"""Transcribes the voice notes of a sealed session and keeps their words beside its record."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from assistant.dictation.model import NoteWriter, installed_model, model_in
from assistant.record.clips import samples_of
from assistant.record.laying import take_lock, tidy
from assistant.record.log import local_now
from assistant.record.new_review import check_reviewable
from assistant.record.reading import read_clip, read_session
from assistant.record.scanning import check_folder
from assistant.record.transcripts import Transcript, add_transcripts, latest, notes_of, read_transcripts
from assistant.record.verifying import refuse_altered
from assistant.writeup.reviewing import renew

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime
    from pathlib import Path

    from assistant.core.values.events import Clip


def transcribe(
    folder: Path,
    model_folder: Path | None = None,
    *,
    again: bool = False,
    progress: Callable[[float, float], None] = lambda _done, _all: None,
    now: Callable[[], datetime] = local_now,
) -> int:
    """Write down the voice notes of a session that have no words yet, and make its write-ups anew.

    Args:
        folder: A sealed session.
        model_folder: Folder of the model; None means the installed one. A named one also writes down the notes that
            another model wrote down before.
        again: Whether to write down every note, whatever was written before.
        progress: Gets the seconds of sound that are written down, and those of all notes.
        now: The clock.

    Returns:
        How many notes were written down.

    Raises:
        UsageProblem: faster-whisper or a model is missing.
        ModelProblem: The model cannot be used.
        RecordProblem: The folder is not a session, is not sealed, is in use, or cannot be written.
        RecordBroken: The record was altered.
    """
    check_folder(folder)
    check_reviewable(folder, "a transcript", "transcribe it")
    lock = take_lock(folder)
    try:
        tidy(folder)
        refuse_altered(folder, "its notes are not written down")
        clips = notes_of(read_session(folder).lines)
        before = latest(read_transcripts(folder))
        if not again and model_folder is None:
            clips = [clip for clip in clips if clip.file not in before]
        if not clips:
            return 0
        model = installed_model() if model_folder is None else model_in(model_folder)
        if not again:
            clips = [
                clip
                for clip in clips
                if clip.file not in before or before[clip.file].weights != model.weights
            ]
        if clips:
            _write(folder, clips, NoteWriter(model), progress, now)
    finally:
        os.close(lock)
    if clips:
        renew(folder)
    return len(clips)


def _write(
    folder: Path,
    clips: list[Clip],
    writer: NoteWriter,
    progress: Callable[[float, float], None],
    now: Callable[[], datetime],
) -> None:
    """Write down these notes; each is kept as soon as it is done, so that a stop loses one at most."""
    done, length = 0.0, sum(clip.duration_s for clip in clips)
    for clip in clips:
        segments = writer.write(samples_of(read_clip(folder, clip), clip.file))
        made = Transcript(
            number=0,
            time=now(),
            clip=clip.file,
            sound=clip.sha256,
            model=writer.model.name,
            weights=writer.model.weights,
            program=writer.program,
            segments=segments,
        )
        add_transcripts(folder, [made])
        done += clip.duration_s
        progress(done, length)
