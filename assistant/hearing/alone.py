"""Finds an answer that stands alone between pauses inside a longer stretch of talk.

Somebody talks in the background, the technician answers, the other goes on: the whole is no phrase, but the piece
between the pauses is. It counts only if nothing that the same voice said beside it could change its meaning:
"no … not lit" and "not … lit" must not become "lit".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.foreground import DEFAULT_GATE, FRAME, levels, loudness
from assistant.hearing.sound import RATE

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.hearing.judge import Judgement
    from assistant.hearing.sound import Samples

PAUSE_S = 0.3
"""A pause that separates pieces; longer than the closure inside a word."""

SHORTEST_S = 0.1
"""A shorter piece is a click."""

BESIDE_S = 0.15
"""Sound around a piece that goes with it."""

MOST = 5
"""Talk of more pieces is not searched."""

BACKGROUND_DB = 9.0
"""A piece so far under the answer is somebody else's."""

BEFORE_S = 0.5
"""What the same voice said before the answer must end so long before it; "not" and "lit" are not so far apart."""


PLAUSIBLE = 0.2
"""Confidence from which a piece beside the answer may itself be one."""

SURE_FROM = 0.9
"""Confidence from which a piece counts: more than a whole utterance needs, because few pieces of talk are answers."""


@dataclass(frozen=True)
class Piece:
    """A stretch between pauses: its first frame, the frame behind its last, and the level of its voice, dB."""

    start: int
    end: int
    voice_db: float

    def of(self, samples: Samples) -> Samples:
        """Its sound, with a little around it."""
        beside = round(BESIDE_S * RATE)
        return samples[max(0, self.start * FRAME - beside) : self.end * FRAME + beside]


def cut(samples: Samples) -> list[Piece]:
    """The stretches of sound between pauses of `PAUSE_S` and more."""
    found = levels(samples)
    if not found.size:
        return []
    loud = np.flatnonzero(found >= loudness(found) - DEFAULT_GATE.soft_db)
    breaks = np.flatnonzero(np.diff(loud) > PAUSE_S * RATE / FRAME)
    pieces = []
    for part in np.split(loud, breaks + 1):
        start, end = int(part[0]), int(part[-1]) + 1
        if (end - start) * FRAME >= SHORTEST_S * RATE:
            pieces.append(Piece(start, end, loudness(found[start:end])))
    return pieces


def alone(samples: Samples, judged: Callable[[Samples], Judgement], sure_from: float) -> Judgement | None:
    """The one answer that stands alone in a longer stretch of talk; None if there is none, or more.

    Args:
        samples: The whole stretch, which is no phrase itself.
        judged: Judges a piece of it.
        sure_from: Confidence from which a piece counts.
    """
    pieces = cut(samples)
    if not 2 <= len(pieces) <= MOST:
        return None
    judgements = [judged(piece.of(samples)) for piece in pieces]
    phrases = [number for number, one in enumerate(judgements) if _is_phrase(one)]
    if len(phrases) != 1:
        return None
    answer, found = pieces[phrases[0]], judgements[phrases[0]]
    if not found.accepted or found.confidence < sure_from:
        return None
    for piece in pieces:
        if piece is answer or piece.voice_db < answer.voice_db - BACKGROUND_DB:
            continue
        gone_before = (answer.start - piece.end) * FRAME >= BEFORE_S * RATE
        if not gone_before:
            return None
    return found


def _is_phrase(judged: Judgement) -> bool:
    """Whether a piece may be a phrase; one that is hardly likely is taken for other talk."""
    return judged.result is not None and (judged.accepted or judged.confidence >= PLAUSIBLE)
