"""Synthetic workshop noise, for fixtures and measurements, never for a session.

The same seed gives the same noise, with a root mean square of 1 over its whole length, so a signal-to-noise ratio
can be set exactly.
The rates and tones below are typical figures from memory, without a source or a recording; measurements in such
noise hold for such noise only.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable

Signal = NDArray[np.float64]


def bay_noise(kind: str, seconds: float, rate: int, seed: int) -> Signal:
    """Noise of one kind.

    Args:
        kind: One of `KINDS`.
        seconds: Length.
        rate: Sampling rate, Hz.
        seed: The same seed gives the same noise.

    Returns:
        Samples with a root mean square of 1; peaks go well above that.

    Raises:
        ValueError: There is no such kind, or the length is not positive.
    """
    if kind not in _MAKERS:
        raise ValueError(f"there is no noise '{kind}'; there are {', '.join(KINDS)}")
    count = round(seconds * rate)
    if count < 1:
        raise ValueError(f"{seconds} s of noise at {rate} Hz is less than one sample")
    # The kind is part of the seed, so two kinds with the same seed have nothing in common.
    generator = np.random.default_rng([seed, *kind.encode()])
    made = _MAKERS[kind](count, rate, generator)
    made = made - np.mean(made)
    level = float(np.sqrt(np.mean(made**2)))
    return made / level if level > 0 else np.ones(count)


def _pink(count: int, rate: int, generator: np.random.Generator) -> Signal:
    """Power falls with frequency (1/f) from 20 Hz up: traffic, air, the sum of many far sources."""
    return _shaped(count, rate, generator, lambda f: np.where(f >= 20, 1 / np.sqrt(np.maximum(f, 20)), 0.0))


def _fans(count: int, rate: int, generator: np.random.Generator) -> Signal:
    """Extractor and heater fans: smooth air noise under 2 kHz, blade tones at 121 Hz (5 blades, 1450 rpm)
    and their harmonics, mains hum at 120 Hz that beats with them.
    """
    time = np.arange(count) / rate
    air = _shaped(count, rate, generator, lambda f: 1 / (1 + (f / 400) ** 2) * (f >= 30))
    blades = _harmonics(time, 5 * 1450 / 60, 5, generator) * (1 + 0.2 * np.sin(2 * np.pi * 0.7 * time))
    hum = np.sin(2 * np.pi * 120 * time + generator.uniform(0, 2 * np.pi))
    return _unit(air) + 0.5 * _unit(blades) + 0.2 * hum


def _compressor(count: int, rate: int, generator: np.random.Generator) -> Signal:
    """A two-cylinder piston compressor at 900 rpm: 30 strokes a second, each a thump at 90 Hz and a valve
    clatter around 1.8 kHz, uneven from stroke to stroke; motor hum at 120 Hz and 240 Hz; air noise.
    """
    time = np.arange(count) / rate
    strokes = _strokes(count, rate, 30.0, 0.02, generator)
    thump = _struck(strokes, rate, ((90.0, 0.030, 1.0), (170.0, 0.020, 0.5)))
    clatter = _struck(strokes, rate, ((1500.0, 0.004, 0.5), (1850.0, 0.005, 0.6), (2600.0, 0.003, 0.3)))
    hum = np.sin(2 * np.pi * 120 * time) + 0.4 * np.sin(2 * np.pi * 240 * time + 1.0)
    air = _shaped(count, rate, generator, lambda f: 1 / (1 + (f / 1500) ** 2) * (f >= 60))
    return _unit(thump) + 0.5 * _unit(clatter) + 0.3 * _unit(hum) + 0.5 * _unit(air)


def _cranking(count: int, rate: int, generator: np.random.Generator) -> Signal:
    """An engine turned by its starter: 200 rpm and four cylinders give 6.7 compressions a second
    (rpm x cylinders / 120); gear whine near 520 Hz sags with each; the breathing of the cylinders is noise
    that swells with them.
    """
    time = np.arange(count) / rate
    wander = np.sin(2 * np.pi * 0.4 * time + generator.uniform(0, 2 * np.pi))
    speed = 200 * 4 / 120 * (1 + 0.02 * wander)
    phase = 2 * np.pi * np.cumsum(speed) / rate
    surge = 0.5 * (np.cos(phase) + 0.25 * np.cos(2 * phase))
    whine_phase = 2 * np.pi * np.cumsum(520 * (1 - 0.08 * surge)) / rate
    whine = sum(np.sin(order * whine_phase) / order for order in range(1, 7)) * (1 - 0.4 * surge)
    breath = _shaped(count, rate, generator, lambda f: 1 / (1 + (f / 700) ** 2) * (f >= 40)) * (1 + surge)
    rumble = np.sin(phase / 2) + np.sin(2 * np.pi * 55 * time) * (1 + surge)
    return _unit(np.asarray(whine)) + _unit(breath) + 0.5 * _unit(rumble)


def _impact_wrench(count: int, rate: int, generator: np.random.Generator) -> Signal:
    """An air-driven impact wrench: the trigger is held 0.8 to 2 s and released 0.2 to 0.6 s; while held, 20
    blows a second ring steel at 1.1, 2.4 and 4.3 kHz, and the air motor screams and hisses.
    """
    time = np.arange(count) / rate
    held = np.zeros(count)
    at = -generator.uniform(0.2, 0.6)
    while at * rate < count:
        length = generator.uniform(0.8, 2.0)
        held[max(0, round(at * rate)) : max(0, round((at + length) * rate))] = 1.0
        at += length + generator.uniform(0.2, 0.6)
    edge = np.ones(max(1, round(0.03 * rate))) / max(1, round(0.03 * rate))
    held = np.convolve(held, edge)[len(edge) // 2 :][:count]
    blows: Signal = _strokes(count, rate, 20.0, 0.05, generator) * held
    ring = _struck(blows, rate, ((1100.0, 0.015, 0.8), (2400.0, 0.012, 1.0), (4300.0, 0.008, 0.7)))
    motor = np.sin(2 * np.pi * np.cumsum(900 + 60 * np.sin(2 * np.pi * 20 * time)) / rate)
    hiss = _shaped(count, rate, generator, lambda f: (f >= 1000) * 1.0)
    floor = _shaped(count, rate, generator, lambda f: 1 / np.sqrt(np.maximum(f, 50)))
    return _unit(ring) + held * (0.25 * motor + 0.5 * _unit(hiss)) + 0.05 * _unit(floor)


_MAKERS: dict[str, Callable[[int, int, np.random.Generator], Signal]] = {
    "pink": _pink,
    "fans": _fans,
    "compressor": _compressor,
    "cranking": _cranking,
    "impact-wrench": _impact_wrench,
}

KINDS = tuple(_MAKERS)
"""The kinds of noise that `bay_noise` makes."""


def _unit(signal: Signal) -> Signal:
    level = float(np.sqrt(np.mean(signal**2)))
    return signal / level if level > 0 else signal


def _shaped(
    count: int, rate: int, generator: np.random.Generator, gain: Callable[[Signal], NDArray[Any]]
) -> Signal:
    """White noise filtered by an amplitude `gain` over frequency in Hz; the constant part is removed."""
    spectrum = np.fft.rfft(generator.standard_normal(count))
    spectrum *= gain(np.fft.rfftfreq(count, 1 / rate).astype(np.float64))
    spectrum[0] = 0
    shaped: Signal = np.fft.irfft(spectrum, count)
    return shaped


def _harmonics(time: Signal, base: float, orders: int, generator: np.random.Generator) -> Signal:
    total = np.zeros_like(time)
    for order in range(1, orders + 1):
        total += np.sin(2 * np.pi * base * order * time + generator.uniform(0, 2 * np.pi)) / order
    return total


def _strokes(
    count: int, rate: int, per_second: float, unevenness: float, generator: np.random.Generator
) -> Signal:
    """One sample for each stroke, of random strength; their spacing varies by a share of `unevenness`."""
    many = int(count / rate * per_second * 1.5) + 4
    gaps = rate / per_second * (1 + unevenness * generator.standard_normal(many))
    places = np.cumsum(np.maximum(gaps, 1.0)).astype(np.int64) - int(float(gaps[0]) * generator.uniform())
    places = places[(places >= 0) & (places < count)]
    train = np.zeros(count)
    train[places] = generator.uniform(0.6, 1.4, len(places))
    return train


def _struck(strokes: Signal, rate: int, tones: tuple[tuple[float, float, float], ...]) -> Signal:
    """Each stroke rings: (frequency Hz, time to 1/e in s, strength) for each tone below the Nyquist limit."""
    length = round(max(decay for _, decay, _ in tones) * 6 * rate)
    time = np.arange(length) / rate
    ring = np.zeros(length)
    for frequency, decay, strength in tones:
        if frequency < rate / 2:
            ring += strength * np.exp(-time / decay) * np.sin(2 * np.pi * frequency * time)
    size = len(strokes) + length
    struck: Signal = np.fft.irfft(np.fft.rfft(strokes, size) * np.fft.rfft(ring, size), size)[: len(strokes)]
    return struck
