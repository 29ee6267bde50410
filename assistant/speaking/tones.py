"""The short tones before DANGER and WARNING.

ISO 7731 (from memory) wants the components of a danger signal between 300 and 3000 Hz, with enough of them below
1500 Hz for people with hearing loss or hearing protectors, and at least 13 dB over the masked threshold in a third of
an octave. A tone as loud as the speech after it holds all its energy in two or three such bands, so where speech is
only just heard the tone stands well out of the noise; louder would startle whoever wears a headset.
The two differ in rhythm and in pitch, so that either is enough: DANGER pulses, which is taken as more urgent than a
steady tone (common practice, no source).

A tone sounds wherever a sentence begins with one of the two words, also before the short form that is repeated before
each crank: the dialogue leaves the word away where there is no time for it, so word and tone mean the same, now. That
costs 0.3 s for each such sentence; whole jobs (`bench jobs`) still take 4 s less than in eSpeak NG without tones.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.speaking.edges import PEAK

if TYPE_CHECKING:
    from assistant.speaking.speech import Samples


@dataclass(frozen=True)
class Tone:
    """A tone before a signal word.

    Attributes:
        components: Frequencies, Hz, each half as high in amplitude as the one before.
        pulses: Number of equal pulses.
        pulse_s: Length of each.
        gap_s: Silence between two of them.
    """

    components: tuple[float, ...]
    pulses: int
    pulse_s: float
    gap_s: float


TONES = {
    "danger": Tone((1000.0, 2000.0), 3, 0.06, 0.03),
    "warning": Tone((600.0, 1200.0, 1800.0), 1, 0.24, 0.0),
}
"""By signal word. CAUTION and NOTICE have none: a tone for everything would be heard as nothing."""

AFTER_S = 0.06
"""Silence between the tone and the word."""

_EDGE_S = 0.01
"""A pulse rises and falls over this time like half a cosine, so that it does not click."""

_BEGINS = re.compile(rf"({'|'.join(TONES)})[.:]", re.IGNORECASE)


def tone_before(sentence: str) -> Tone | None:
    """The tone of a sentence that begins with a signal word and its colon or full stop; None for any other."""
    found = _BEGINS.match(sentence)
    return TONES[found[1].lower()] if found else None


def sounded(tone: Tone, rate: int, rms: float) -> Samples:
    """The tone, with the silence after it.

    Args:
        tone: The tone.
        rate: Sampling rate, Hz.
        rms: Root mean square of a pulse between its edges, as a share of full scale; less if its
            peak would be over -1 dBFS.
    """
    time = np.arange(round(tone.pulse_s * rate)) / rate
    pulse = sum(
        (
            np.sin(2 * np.pi * frequency * time) / 2**number
            for number, frequency in enumerate(tone.components)
        ),
        np.zeros(len(time)),
    )
    pulse = pulse / max(float(np.sqrt(np.mean(pulse**2))), 1e-9)
    pulse *= min(rms, PEAK / float(np.max(np.abs(pulse))))
    edge = round(_EDGE_S * rate)
    ramp = (1 - np.cos(np.pi * np.arange(edge) / edge)) / 2
    pulse[:edge] *= ramp
    pulse[-edge:] *= ramp[::-1]
    gap = np.zeros(round(tone.gap_s * rate))
    parts = [part for number in range(tone.pulses) for part in ((gap, pulse) if number else (pulse,))]
    sound = np.concatenate([*parts, np.zeros(round(AFTER_S * rate))])
    return np.round(sound * 32767).astype(np.int16)
