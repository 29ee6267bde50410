"""Kaldi's mel cepstra (its "hires" setting) in numpy, as Vosk computes them for the bundled model.

40 mel bins from 20 to 7600 Hz, 40 cepstra, windows of 25 ms every 10 ms, pre-emphasis 0.97, Povey's window, lifter
22, no energy.
Source: Kaldi's feature-window.cc, mel-computations.cc and feature-mfcc.cc, from memory; the tests compare with
training's own (`assistant.acoustic.features`) and with the package kaldi-native-fbank.
"""

from __future__ import annotations

import functools
import math
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from assistant.hearing.sound import Samples

Floats: TypeAlias = NDArray[np.float32]

RATE, WINDOW, SHIFT, FFT = 16000, 400, 160, 512
BINS = 40
LOW_HZ, HIGH_HZ = 20, 7600
PRE_EMPHASIS = 0.97
LIFTER = 22.0
SMALLEST = 1.1920929e-07
"""Smallest power whose logarithm is taken: the step of 32-bit floats at 1."""

_AT_ONCE = 500
"""Frames that are transformed at once: their spectra take some megabytes."""


@functools.cache
def _tables() -> tuple[Floats, Floats, Floats]:
    """The window, the filters (FFT / 2, BINS) and the cosines with the lifter (BINS, BINS)."""
    count = np.arange(WINDOW)
    window = (0.5 - 0.5 * np.cos(2 * math.pi * count / (WINDOW - 1))) ** 0.85

    def mel(hertz: NDArray[np.float64] | float) -> NDArray[np.float64]:
        return np.asarray(1127.0 * np.log1p(np.asarray(hertz, np.float64) / 700.0))

    low, high = float(mel(LOW_HZ)), float(mel(HIGH_HZ))
    width = (high - low) / (BINS + 1)
    left = low + width * np.arange(BINS)[None]
    lines = mel(np.arange(FFT // 2) * RATE / FFT)[:, None]
    filters = np.clip(np.minimum((lines - left) / width, (left + 2 * width - lines) / width), 0.0, None)
    orders = np.arange(BINS, dtype=np.float64)[:, None]
    cosines = math.sqrt(2 / BINS) * np.cos(math.pi / BINS * (np.arange(BINS)[None] + 0.5) * orders)
    cosines[0] = math.sqrt(1 / BINS)
    lifter = 1 + 0.5 * LIFTER * np.sin(math.pi * orders / LIFTER)
    return (
        window.astype(np.float32),
        filters.astype(np.float32),
        np.ascontiguousarray((lifter * cosines).T, np.float32),
    )


def cepstra(samples: Samples | Floats) -> Floats:
    """Cepstra of sound at 16 kHz in steps of 16-bit samples, shape (frames, BINS); none if it is under 25 ms."""
    window, filters, cosines = _tables()
    count = max(0, (len(samples) - WINDOW) // SHIFT + 1)
    found = np.empty((count, BINS), np.float32)
    sound = np.asarray(samples, np.float32)
    for begin in range(0, count, _AT_ONCE):
        end = min(count, begin + _AT_ONCE)
        piece = sound[begin * SHIFT : (end - 1) * SHIFT + WINDOW]
        frames = np.lib.stride_tricks.sliding_window_view(piece, WINDOW)[::SHIFT]
        frames = frames - frames.mean(axis=1, keepdims=True, dtype=np.float32)
        before = np.concatenate([frames[:, :1], frames[:, :-1]], axis=1)
        shaped = np.zeros((end - begin, FFT), np.float32)
        shaped[:, :WINDOW] = (frames - np.float32(PRE_EMPHASIS) * before) * window
        spectrum = np.fft.rfft(shaped)[:, : FFT // 2]
        power = (spectrum.real**2 + spectrum.imag**2).astype(np.float32)
        found[begin:end] = np.log(np.maximum(power @ filters, np.float32(SMALLEST))) @ cosines
    return found
