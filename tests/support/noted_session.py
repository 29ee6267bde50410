"""Sealed sessions with voice notes in them, for the tests of transcripts and of the write-up."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

from recorded import FACTS, START, library

from assistant import resources
from assistant.core.dialogue.states import State
from assistant.core.values.entries import VoiceNoteTaken
from assistant.core.values.events import Clip, Closed, Note, NoteRecorded
from assistant.core.values.result import Control
from assistant.hearing.sound import Samples, read_sound
from assistant.record import SessionLog
from assistant.record.transcripts import NoteSegment, Transcript, notes_of
from assistant.rehearsal.dialogue import Dialogue

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.core.values.events import Action
    from assistant.record import RecordedSession

HEARD = "The connector at the coil has green corrosion on pin two."
"""What a machine might have written down of `spoken_note`."""


def spoken_note() -> Samples:
    """A recorded note: "connector at the coil has green corrosion on pin two"."""
    return read_sound(resources.directory("audio_fixtures") / "note-green-corrosion.flac").samples


def talk_with_notes(notes: int) -> Dialogue:
    """A session that takes one result, then so many voice notes, and is closed."""
    talk = Dialogue(library())
    talk.begin("coil-control")
    talk.ready()
    talk.hear(value="10.5", unit="V")
    talk.hear(control=Control.AFFIRM)
    talk.ready()
    while talk.runner.state is not State.ASKING:
        talk.wait(5)
        talk.listen()
    for _ in range(notes):
        talk.hear(control=Control.VOICE_NOTE)
        talk.listen()
    talk.send(Closed(talk.now, "test"))
    talk.listen()
    return talk


def noted_session(parent: Path, *sounds: Samples, seal: bool = True) -> Path:
    """A session folder with these voice notes in it."""
    talk = talk_with_notes(len(sounds))
    moment, left, kept = [START], list(sounds), dict[str, Clip]()
    log = SessionLog.create(
        parent, FACTS, resources.directory("procedures"), now=lambda: moment[0], token=lambda: "k7f3"
    )
    with log:
        for event, actions in zip(talk.events, talk.actions, strict=True):
            moment[0] = START + timedelta(seconds=event.at)
            if isinstance(event, NoteRecorded):
                kept["clip"] = log.keep_clip(left.pop(0))
                log.append(
                    replace(event, clip=kept["clip"]), tuple(_with(one, kept["clip"]) for one in actions)
                )
            else:
                log.append(event, actions)
        assert not left
        if seal:
            log.seal()
    return log.folder


def _with(action: Action, clip: Clip) -> Action:
    if isinstance(action, Note) and isinstance(action.entry, VoiceNoteTaken):
        return replace(action, entry=replace(action.entry, clip=clip.file, duration_s=clip.duration_s))
    return action


def transcript_of(clip: Clip, words: str = HEARD, number: int = 1) -> Transcript:
    """A transcript as a machine might have made it."""
    return Transcript(
        number,
        START + timedelta(hours=1),
        clip.file,
        clip.sha256,
        "Whisper tiny.en",
        hashlib.sha256(b"weights").hexdigest(),
        "faster-whisper 1.2.1",
        (NoteSegment(0.0, 4.0, words, -0.44, 0.02, 0.94),) if words else (),
        "0" * 64,
    )


def transcripts_of(session: RecordedSession, words: str = HEARD) -> tuple[Transcript, ...]:
    """The same words for every note of a session."""
    return tuple(
        transcript_of(clip, words, number) for number, clip in enumerate(notes_of(session.lines), start=1)
    )
