"""From what the network predicts to samples: a pulse train and noise are shaped in frequency and put together.

Adapted from ``dsp.py`` of hibari-tts 0.2.1 (Copyright 2026 Maureese Williams, Apache License 2.0; see NOTICE): written
anew with the same formulas, working on frames one behind the other, a block of them at a time, so that memory does not
grow with the sentence. For each frame of 12.5 ms the network gives, for each of 601 frequencies,

    S = exp(harmonic) · e^(i π tanh(turn)) · pulses + exp(noise) · Z + exp(free) · e^(i phase)

where `pulses` is the spectrum of a pulse train with the predicted pitch and Z is complex white noise. An inverse
short-time Fourier transform (window of Hann, 1,200 samples, every 300) makes the sound of it.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.fft import irfft, rfft
from numpy.typing import NDArray

from assistant.speaking.neural.arithmetic import Floats

Spectrum = NDArray[np.complex64]

RATE = 24_000
"""Samples a second."""

WINDOW, HOP = 1200, 300
"""Samples of a window, and from one to the next: 50 ms every 12.5 ms."""

BINS = WINDOW // 2 + 1
"""Frequencies of a frame, 20 Hz apart."""

_OVERLAP = WINDOW // HOP
_HALF = WINDOW // 2

_LOWEST_PITCH_HZ = 40.0
"""Below it the sound has no voice, only noise."""

_HIGHEST_HARMONIC_HZ = 11_000.0
"""A little below half the rate, so that nothing folds back."""

_LOUDEST = np.float32(7.0)
"""Greatest logarithm of a magnitude; the network was trained with it."""

_BLOCK_FRAMES = 64
"""Frames that are shaped at a time: about 1 MiB of working memory."""


@functools.cache
def hann() -> Floats:
    """The periodic window of Hann: four that overlap by three quarters add up to 2."""
    return (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(WINDOW) / WINDOW)).astype(np.float32)


Rows = Callable[[slice], Floats]
"""Gives a block of frames: (frames, `BINS`). An array's own ``__getitem__`` does, and so does `LateRows.rows`."""


@dataclass(frozen=True)
class VoiceFrames:
    """What the network says about each frame: a value for each frequency, and the pitch in Hz of each frame."""

    harmonic: Rows
    turn: Rows
    noise: Rows
    free: Rows
    phase: Rows
    pitch: Floats


def pitch_of_samples(pitch: Floats) -> Floats:
    """The pitch of every sample: straight lines between the middles of the frames, level at both ends."""
    middles = np.arange(len(pitch)) * HOP + (HOP - 1) / 2
    return np.interp(np.arange(len(pitch) * HOP), middles, pitch).astype(np.float32)


def pulses(pitch: Floats) -> Floats:
    """A train of narrow pulses that follows the pitch of each frame; zero where there is no voice.

    Every harmonic below 11 kHz with amplitude 1, by the sum of a geometric series (Dirichlet's kernel):
    Σ cos(h t), h = 1…H, is sin((H + 1/2) t) / (2 sin(t/2)) - 1/2, and H at t = 0.
    """
    f = pitch_of_samples(pitch)
    voiced = f > _LOWEST_PITCH_HZ
    np.maximum(f, np.float32(_LOWEST_PITCH_HZ), out=f)
    turns = np.cumsum(f, dtype=np.float64)  # 32 bits would lose the phase within a second
    turns *= 1.0 / RATE
    turns -= np.floor(turns)
    half = (turns * np.pi).astype(np.float32)
    del turns
    count = np.floor(np.float32(_HIGHEST_HARMONIC_HZ) / f)
    count += np.float32(0.5)
    below = np.sin(half)
    below *= np.float32(2)
    half *= np.float32(2)
    half *= count
    train = np.sin(half, out=half)
    peak = np.abs(below) <= 2e-3
    below[peak] = 1
    train /= below
    train[peak] = count[peak]
    train -= np.float32(0.5)
    train[~voiced] = 0
    return train


def spectra(signal: Floats, first: int, count: int) -> Spectrum:
    """Short-time Fourier transform of `count` frames from `first` on.

    Args:
        signal: The samples with half a window before and after them, so that frame k is centred on sample k · HOP.
        first: The first frame.
        count: The number of frames.
    """
    windows = np.lib.stride_tricks.sliding_window_view(signal, WINDOW)[first * HOP :: HOP][:count]
    return rfft(windows * hann(), axis=1).astype(np.complex64, copy=False)


def reflected(signal: Floats) -> Floats:
    """The signal with half a window of its mirror image at both ends, as torch.stft pads it."""
    return np.pad(signal, _HALF, mode="reflect")


class OverlapAdd:
    """Puts frames together again, each at its place, and divides by the sum of the squared windows.

    Args:
        frames: How many there will be.
    """

    def __init__(self, frames: int) -> None:
        self._frames = frames
        self._sum = np.zeros((frames + _OVERLAP - 1, HOP), np.float32)

    def add(self, first: int, spectrum: Spectrum) -> None:
        """Add the frames from `first` on, given as spectra."""
        parts = irfft(spectrum, WINDOW, axis=1).astype(np.float32, copy=False)
        parts *= hann()
        parts = parts.reshape(len(parts), _OVERLAP, HOP)
        for part in range(_OVERLAP):
            self._sum[first + part : first + part + len(parts)] += parts[:, part]

    def samples(self) -> Floats:
        """The sound of all frames, HOP samples for each."""
        squares = (hann() ** 2).reshape(_OVERLAP, HOP)
        weight = np.zeros_like(self._sum)
        for part in range(_OVERLAP):
            weight[part : part + self._frames] += squares[part]
        return np.asarray((self._sum / weight.clip(1e-11)).reshape(-1)[_HALF : _HALF + self._frames * HOP])


def _scrambled(x: NDArray[np.uint32]) -> NDArray[np.uint32]:
    """Mix the bits of each number, in place, so that numbers in a row look drawn by chance.

    Wellons' "lowbias32" (public domain): two multiplications and three shifts. numpy's own generators would take
    3 MB of memory for their library.
    """
    for shift, factor in ((16, 0x7FEB352D), (15, 0x846CA68B)):
        x ^= x >> np.uint32(shift)
        x *= np.uint32(factor)
    x ^= x >> np.uint32(16)
    return x


def white(seed: int, block: slice) -> Spectrum:
    """White noise: real and imaginary part of every frequency are normal with variance 1 and independent.

    By the method of Box and Muller (1958) from two numbers drawn for each place. A place's value depends on nothing
    but the seed, its frame and its frequency.
    """
    places = np.arange(block.start * BINS, block.stop * BINS, dtype=np.uint32)
    start = _scrambled(np.array([seed & 0xFFFFFFFF], np.uint32))
    first = _scrambled(places + start)
    second = _scrambled(first ^ np.uint32(0x9E3779B9))
    # Greater than 0, for its logarithm; 24 bits are what a 32-bit floating-point number holds.
    size = ((first >> np.uint32(8)) + np.uint32(1)).astype(np.float32)
    size *= np.float32(2.0**-24)
    np.log(size, out=size)
    size *= np.float32(-2)
    angle = second.astype(np.float32)
    angle *= np.float32(2 * np.pi * 2.0**-32)
    return _rotation(np.sqrt(size, out=size), angle).reshape(-1, BINS)


def _magnitude(logarithm: Floats) -> Floats:
    y = np.minimum(logarithm, _LOUDEST)
    return np.asarray(np.exp(y, out=y))


def _rotation(magnitude: Floats, angle: Floats) -> Spectrum:
    """Complex numbers of these magnitudes and angles."""
    y = np.empty(magnitude.shape, np.complex64)
    np.multiply(np.cos(angle), magnitude, out=y.real)
    np.multiply(np.sin(angle), magnitude, out=y.imag)
    return y


def shaped_frames(given: VoiceFrames, block: slice, source: Spectrum, hiss: Spectrum) -> Spectrum:
    """The spectra of a block of frames, from those of the pulse train and of white noise."""
    turn = np.tanh(given.turn(block))
    turn *= np.float32(np.pi)
    # A cosine of amplitude 1 stands in the transform as half the window's sum; the network was trained without that.
    spectrum = source * np.float32(_OVERLAP / WINDOW)
    spectrum *= _rotation(_magnitude(given.harmonic(block)), turn)
    spectrum += hiss * _magnitude(given.noise(block))
    spectrum += _rotation(_magnitude(given.free(block)), given.phase(block))
    return spectrum


def synthesised(given: VoiceFrames, seed: int) -> Floats:
    """The sound of a prediction, `RATE` samples a second; `seed` fixes the noise."""
    frames = len(given.pitch)
    signal = reflected(pulses(given.pitch))
    out = OverlapAdd(frames)
    for first in range(0, frames, _BLOCK_FRAMES):
        block = slice(first, min(first + _BLOCK_FRAMES, frames))
        count = block.stop - first
        out.add(first, shaped_frames(given, block, spectra(signal, first, count), white(seed, block)))
    return out.samples()
