"""The way from the assistant's loudspeaker into its own microphone, made for measurements.

Nothing here was recorded: paths are drawn at random within limits that are typical figures from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import soxr

from assistant.hearing.sound import RATE
from assistant.hearing_bench.mixing import Signal  # noqa: TC001  a type alias, used as one

BEND = 1.1
"""Share of full scale at which a small loudspeaker bends the wave as tanh does.

The third harmonic of a tone of 0.7 then lies 30 dB under it: (0.7 / 1.1)^2 / 12."""


@dataclass(frozen=True)
class LeakPath:
    """From the samples that were handed to the loudspeaker to those that come from the microphone.

    Attributes:
        delay_s: From handing a sample over to its arrival, buffers and radio included.
        decay_s: Time in which the echo falls by 60 dB; some hundredths of a second in a headset, 0.8 s in a bay.
        direct: Power of the first arrival over that of all echoes.
        drift_ppm: How much faster the microphone's clock runs than the loudspeaker's, parts in a million.
        bent: A small loudspeaker's distortion.
        seed: Draws the echoes.
    """

    delay_s: float
    decay_s: float
    direct: float = 4.0
    drift_ppm: float = 0.0
    bent: bool = True
    seed: int = 0

    def heard(self, speech: Signal) -> Signal:
        """What arrives at the microphone, by level as it comes; longer than the speech by delay and decay."""
        draw = np.random.default_rng(self.seed)
        played = np.tanh(speech / BEND) * BEND if self.bent else speech
        count = max(1, round(self.decay_s * RATE))
        tail = draw.normal(0.0, 1.0, count) * 10 ** (-3 * np.arange(count) / count)
        tail *= np.sqrt(1 / (self.direct * np.sum(tail**2)))
        response = np.concatenate([[1.0], tail])
        length = len(played) + len(response)
        size = 1 << (length - 1).bit_length()
        spectrum = np.fft.rfft(played, size) * np.fft.rfft(response, size)
        spectrum *= _band(np.asarray(np.fft.rfftfreq(size, 1 / RATE), np.float64))
        arrived = np.fft.irfft(spectrum, size)[:length]
        if self.drift_ppm:
            arrived = soxr.resample(arrived, RATE, RATE * (1 + self.drift_ppm / 1e6))
        return np.concatenate([np.zeros(round(self.delay_s * RATE)), arrived])


def _band(frequencies: Signal) -> Signal:
    """A small loudspeaker: little under 300 Hz, falling again from 6 kHz."""
    low = 1 / (1 + (300 / np.maximum(frequencies, 1)) ** 4)
    return np.asarray(np.sqrt(low / (1 + (frequencies / 6000) ** 8)))
