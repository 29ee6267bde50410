"""A question does not fall at its end, as the network by itself lets it.

Over the program's 115 questions the pitch of the last audible frames is 3.1 semitones (median) under the middle of the
sentence, against 2.6 with a full stop in place of the question mark; 16 % of them end above the middle.
Here the end is bent up to the middle, after the network and before the sound is made; the spectral envelope, and with
it the vowels, stays. Lifted higher, the last words are lost in noise (`MOST`).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from assistant.speaking.neural.signal import VoiceFrames

RISE_FRAMES = 24
"""Frames over which the pitch rises: 0.3 s, about the last syllable and a half."""

MOST = 4.0
"""Most semitones that a frame is lifted.

Of 41 questions in pink noise at 0 dB, each in two noises, Whisper tiny.en had 39.8 % of the words wrong as the network
says them, 41.4 % lifted by at most 4 semitones (difference -1 to +4, 95 % by bootstrap), and 46.4 % lifted by at most 8
(+2 to +12). In quiet and at +5 dB the lift made no difference. Recognisers do not hear a question by its tune.
"""

_END_FRAMES = 80
"""Frames in which the end is sought: one second."""

_AUDIBLE_DB = 25.0
"""A frame that is weaker by this than the loudest of the end is not heard; the pitch of such frames means nothing."""

_VOICED_HZ = 100.0
"""Lowest pitch of this voice; what lies under it is creak or a consonant."""

_FEWEST = 8
"""Audible frames (0.1 s) that a sentence needs to have an end that can rise."""


def is_question(phonemes: str) -> bool:
    """Whether a row of phonemes ends with a question mark, whatever closes behind it."""
    return phonemes.rstrip("”) ").endswith("?")


def risen(frames: VoiceFrames) -> VoiceFrames:
    """The same sentence with a rise at its end."""
    pitch = frames.pitch
    start = max(0, len(pitch) - _END_FRAMES)
    harmonic = frames.harmonic(slice(start, len(pitch)))
    loudness = 10 * np.log10(np.exp(2 * np.minimum(harmonic, np.float32(7))).sum(axis=1) + 1e-9)
    audible = (loudness > loudness.max(initial=-np.inf) - _AUDIBLE_DB) & (pitch[start:] > _VOICED_HZ)
    heard = start + np.flatnonzero(audible)
    if heard.size < _FEWEST:
        return frames
    middle, end = np.median(pitch[pitch > _VOICED_HZ]), np.median(pitch[heard[-3:]])
    lift = np.clip(12 * np.log2(middle / end), 0.0, MOST)
    share = np.clip((np.arange(len(pitch)) - (heard[-1] - RISE_FRAMES)) / RISE_FRAMES, 0.0, 1.0)
    return replace(frames, pitch=(pitch * 2 ** (lift * share / 12)).astype(np.float32))
