"""Other people talking without a pause in the background of an answer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.baynoise import bay_noise
from assistant.hearing.sound import RATE
from assistant.hearing_bench.mixing import CLEAN_DB, Mixture, at_level, at_power, speech_power, to_samples

if TYPE_CHECKING:
    import random
    from collections.abc import Sequence

    from assistant.hearing_bench.mixing import Signal

GAP_S = (0.05, 0.3)
"""Shortest and longest pause between two sentences of the talk, s: those of one who reads on."""

QUIET = "fans"
"""Kind of noise that a microphone adds, at `CLEAN_DB` under the speech."""


def running(pieces: Sequence[Signal], length: int, draw: random.Random) -> Signal:
    """Talk of so many samples: pieces in any order at one level, with short pauses, begun somewhere.

    Raises:
        ValueError: There are no pieces, or only empty ones.
    """
    if not any(piece.size for piece in pieces):
        raise ValueError("nobody talks")
    parts: list[Signal] = []
    begun = draw.randrange(RATE, 3 * RATE)  # the talk is on already when the sound begins
    so_far = 0
    while so_far < begun + length:
        piece = at_level(draw.choice(pieces), -20.0)
        pause = np.zeros(round(draw.uniform(*GAP_S) * RATE))
        parts += [piece, pause]
        so_far += len(piece) + len(pause)
    return np.concatenate(parts)[begun : begun + length]


def with_talk(
    speech: Signal,
    pieces: Sequence[Signal],
    ratio_db: float,
    draw: random.Random,
    *,
    lead_s: float,
    tail_s: float,
    level_db: float,
) -> Mixture:
    """Speech at a level while others talk before, under and after it.

    The ratio compares the power of the frames with speech in both (`mixing.speech_power`).

    Args:
        speech: Trimmed speech.
        pieces: What the others say.
        ratio_db: Ratio of speech to talk, dB.
        draw: Draws what is said when.
        lead_s: Talk before the speech, s.
        tail_s: Talk after it, s.
        level_db: Level of the speech, dB relative to full scale; less if a peak would not fit.
    """
    near = at_level(speech, level_db)
    lead = round(lead_s * RATE)
    length = lead + len(near) + round(tail_s * RATE)
    talk = running(pieces, length, draw)
    power = speech_power(talk)
    mixed = talk * (10 ** ((level_db - ratio_db) / 20) / np.sqrt(power)) if power > 0 else talk
    noise = bay_noise(QUIET, length / RATE, RATE, draw.randrange(2**31))
    mixed += at_power(noise, level_db - CLEAN_DB)
    mixed[lead : lead + len(near)] += near
    return Mixture(to_samples(mixed), lead / RATE, (lead + len(near)) / RATE)
