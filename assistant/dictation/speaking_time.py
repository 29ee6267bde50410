"""The part of a note in which somebody speaks, by the voice-activity model that a session uses, too."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.hearing.activity import CHUNK, CHUNK_S, DEFAULT_TIMING, SileroActivity

if TYPE_CHECKING:
    from assistant.hearing.activity import VoiceActivity
    from assistant.hearing.sound import Samples

_MARGIN_S = 0.4
"""Kept before and after it: soft sounds at its ends, as `EarTiming.before_s`."""


def spoken_part(samples: Samples, activity: VoiceActivity | None = None) -> tuple[int, int] | None:
    """The samples from the first to the last speech, with a margin; None if nobody speaks.

    Speech shorter than what begins an utterance in a session is a knock or a click.

    Args:
        samples: The note, at `assistant.hearing.sound.RATE`.
        activity: Gives each chunk its probability of speech; None means the bundled model.
    """
    model = SileroActivity() if activity is None else activity
    model.reset()
    spoken = [
        at
        for at in range(0, len(samples) - CHUNK + 1, CHUNK)
        if model.probability(samples[at : at + CHUNK]) >= DEFAULT_TIMING.begin_at
    ]
    if len(spoken) * CHUNK_S + 1e-9 < DEFAULT_TIMING.begin_s:
        return None
    margin = round(_MARGIN_S / CHUNK_S) * CHUNK
    return max(0, spoken[0] - margin), min(len(samples), spoken[-1] + CHUNK + margin)
