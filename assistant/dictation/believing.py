"""Whether to believe words that Whisper wrote: on noise and silence it writes sentences that nobody said.

The three limits are those of Whisper itself, which it uses to decode again or to skip (Radford et al. 2022, "Robust
Speech Recognition via Large-Scale Weak Supervision", 4.5): log-probability -1, compression 2.4, no speech 0.6.
Whisper skips only where nobody seems to speak *and* the words are improbable; here each limit alone is enough, because
an invented sentence does more harm than a missing one.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

from assistant.record.transcripts import LONGEST, MOST

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.record.transcripts import NoteSegment

LEAST_LOG_PROBABILITY = -1.0
MOST_COMPRESSION = 2.4
MOST_NO_SPEECH = 0.6

_LONGEST_WORD = 40
"""Letters of the longest word that anybody says in a shop, with room to spare."""


def believed(segments: Iterable[NoteSegment]) -> tuple[NoteSegment, ...]:
    """The segments, without the words that are not believed, and without segments that never had any.

    A segment that is not believed keeps its times and measures, so that the write-up can show that something was
    not understood there.
    """
    kept = []
    for one in segments:
        words = " ".join(one.words.split())
        if any(sign.isalnum() for sign in words):
            kept.append(dataclasses.replace(one, words=words if _believed(one, words) else ""))
    return tuple(kept[:MOST])


def _believed(one: NoteSegment, words: str) -> bool:
    return (
        one.log_probability >= LEAST_LOG_PROBABILITY
        and one.compression <= MOST_COMPRESSION
        and one.no_speech <= MOST_NO_SPEECH
        and len(words) <= LONGEST
        and max(map(len, words.split())) <= _LONGEST_WORD
    )
