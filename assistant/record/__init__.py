"""The record of a session: an append-only, hash-chained log, sound clips, a seal; verify, replay, list."""

from __future__ import annotations

from assistant.record.clips import CLIP_RATE
from assistant.record.header import Facts, Header
from assistant.record.index import find_sessions
from assistant.record.log import SessionLog
from assistant.record.new_review import add_review
from assistant.record.reading import read_clip, read_session, recorded_library
from assistant.record.recorded import Line, LogFile, RecordedSession, Seal
from assistant.record.replaying import Difference, replay
from assistant.record.reviews import Details, Labour, Part, Photo, Review, Signature, read_reviews
from assistant.record.searching import Found, Wanted
from assistant.record.summaries import Summary, list_sessions, newest_session
from assistant.record.verifying import verify

__all__ = [
    "CLIP_RATE",
    "Details",
    "Difference",
    "Facts",
    "Found",
    "Header",
    "Labour",
    "Line",
    "LogFile",
    "Part",
    "Photo",
    "RecordedSession",
    "Review",
    "Seal",
    "SessionLog",
    "Signature",
    "Summary",
    "Wanted",
    "add_review",
    "find_sessions",
    "list_sessions",
    "newest_session",
    "read_clip",
    "read_reviews",
    "read_session",
    "recorded_library",
    "replay",
    "verify",
]
