"""Sounds that are not the starter: music, other machines, idling engines, and speech that is handed in.

They are made at random for developing; what is measured with comes from `assistant.hearing.baynoise`, the fixtures and
recordings as well. Tones and rates are chosen, without a source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.baynoise import KINDS, bay_noise
from assistant.hearing.sound import RATE
from assistant.hearing_bench.starter.sounding import coloured, decibel, filtered, ringing, unit

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

BAY = tuple(kind for kind in KINDS if kind != "cranking")
"""Kinds of bay noise; the made-up cranking among them is no noise here."""


def bay(seconds: float, rng: np.random.Generator) -> Floats:
    """One of the bay's noises."""
    return bay_noise(str(rng.choice(BAY)), seconds, RATE, int(rng.integers(1 << 30)))


def music(seconds: float, rng: np.random.Generator) -> Floats:
    """Chords, bass, a tune and drums at some tempo, as from a radio."""
    count = round(seconds * RATE)
    total = np.zeros(count)
    beat = 60 / float(rng.uniform(65, 180))
    scale = np.array([0, 2, 4, 5, 7, 9, 11, 12]) + int(rng.integers(0, 12))
    fall, vibrato = float(rng.uniform(0.6, 2.0)), float(rng.uniform(0, 0.006))
    at = float(rng.uniform(0, beat))
    voices, drums = int(rng.integers(1, 5)), float(rng.choice([0.0, 0.5, 1.0, 2.0]))
    while at < seconds:
        length = beat * float(rng.choice([0.25, 0.5, 0.5, 1, 1, 2]))
        for _ in range(voices):
            note = int(rng.choice(scale)) + 12 * int(rng.integers(2, 6))
            _add(total, at, _tone(440 * 2 ** ((note - 57) / 12), length * 1.2, fall, vibrato, rng))
        at += length
    hits = np.arange(float(rng.uniform(0, beat)), seconds, beat / 2)
    for number, place in enumerate(hits):
        if drums and rng.uniform() < 0.8:
            low = number % 4 in {0, 3}
            burst = (
                ringing(rng, 45, 110, (0.04, 0.1), 2)
                if low
                else coloured(1600, rng, 500, 8000, -2) * _fall(1600, 300)
            )
            _add(total, float(place), drums * unit(burst))
    return unit(total)


def _fall(count: int, tau: float) -> Floats:
    return np.asarray(np.exp(-np.arange(count) / tau))


def _tone(pitch: float, length: float, fall: float, vibrato: float, rng: np.random.Generator) -> Floats:
    time = np.arange(round(length * RATE)) / RATE
    phase = 2 * np.pi * pitch * (time + vibrato / 35 * np.sin(2 * np.pi * 5.5 * time))
    total = np.zeros_like(time)
    for order in range(1, 9):
        if order * pitch < 0.45 * RATE:
            total += np.sin(order * phase) / order**fall
    return total * np.exp(-time / rng.uniform(0.15, 1.5)) * np.minimum(1, time / 0.01)


def _add(total: Floats, at: float, part: Floats) -> None:
    place = round(at * RATE)
    length = min(part.size, total.size - place)
    if length > 0:
        total[place : place + length] += part[:length]


def _harmonics(phase: Floats, rng: np.random.Generator, many: int) -> Floats:
    fall = rng.uniform(0.3, 1.8)
    total = np.zeros_like(phase)
    top = np.abs(np.gradient(phase)) * RATE / (2 * np.pi)
    for order in range(1, many + 1):
        wave = np.sin(order * phase + rng.uniform(0, 6.3)) * (order * top < 0.46 * RATE)
        total += rng.lognormal(0, 0.6) / order**fall * wave
    return total


def driven_tool(seconds: float, rng: np.random.Generator) -> Floats:
    """A drill, grinder, fan or winch: a motor that whines, runs up and down, with its load now and then."""
    count = round(seconds * RATE)
    time = np.arange(count) / RATE
    wanted = np.zeros(count)
    at = float(rng.uniform(-2, 4))
    while at < seconds:
        on = float(rng.choice([0.3, 1.0, 3.0, 10.0]) * rng.uniform(0.6, 1.6))
        wanted[max(0, round(at * RATE)) : max(0, round((at + on) * RATE))] = rng.uniform(0.6, 1.0)
        at += on + float(rng.uniform(0.3, 6))
    rise = np.exp(-np.arange(6 * 4000) / (rng.uniform(0.03, 0.5) * RATE))
    speed = filtered(wanted, rise / rise.sum())
    speed *= 1 + rng.uniform(0, 0.08) * np.sin(2 * np.pi * rng.uniform(0.2, 1.5) * time)
    top = float(np.exp(rng.uniform(np.log(80), np.log(2500))))
    phase = 2 * np.pi * np.cumsum(top * speed) / RATE
    whine = _harmonics(phase, rng, 8) * speed
    noise = (
        coloured(count, rng, rng.uniform(100, 1500), rng.uniform(2500, 9000), rng.uniform(-2, 6)) * speed**2
    )
    return unit(unit(whine) + decibel(rng.uniform(-12, 8)) * unit(noise))


def beating_machine(seconds: float, rng: np.random.Generator) -> Floats:
    """A compressor, pump, hammer or conveyor: strokes at a steady rate, with a motor's hum and noise."""
    count = round(seconds * RATE)
    time = np.arange(count) / RATE
    rate = float(np.exp(rng.uniform(np.log(1.5), np.log(40))))
    gaps = RATE / rate * (1 + rng.uniform(0, 0.05) * rng.standard_normal(int(seconds * rate * 1.5) + 8))
    places = np.cumsum(np.maximum(gaps, 10)).astype(np.int64)
    places = places[places < count]
    train = np.zeros(count)
    train[places] = rng.uniform(0.6, 1.4, places.size)
    total = unit(filtered(train, ringing(rng, 60, 3000, (0.003, 0.06), 6)))
    hum = _harmonics(2 * np.pi * float(rng.choice([50, 60, 100, 120, 147])) * time, rng, 6)
    wave = 1 + rng.uniform(0, 0.8) * np.sin(2 * np.pi * rate * time)
    noise = coloured(count, rng, 60, rng.uniform(800, 8000), rng.uniform(0, 6)) * wave
    total += decibel(rng.uniform(-20, 3)) * unit(hum) + decibel(rng.uniform(-12, 9)) * unit(noise)
    if rng.uniform() < 0.5:  # it is switched on or off meanwhile
        edge = float(rng.uniform(0.1, 0.9)) * seconds
        total *= (time > edge) if rng.uniform() < 0.5 else (time < edge)
    return unit(total)


def other_engine(seconds: float, rng: np.random.Generator) -> Floats:
    """An engine that idles, is revved, and may come and go: running, but nobody started it here."""
    count = round(seconds * RATE)
    time = np.arange(count) / RATE
    rpm = rng.uniform(600, 1200) * np.ones(count)
    for _ in range(int(rng.integers(0, 4))):
        at, wide = rng.uniform(0, seconds), rng.uniform(0.3, 1.5)
        rpm += rng.uniform(300, 3000) * np.exp(-0.5 * ((time - at) / wide) ** 2)
    rate = rpm / 120 * int(rng.choice([3, 4, 4, 6, 8]))
    stroke = np.cumsum(rate) / RATE
    train = np.zeros(count)
    hits = np.flatnonzero(np.diff(np.floor(stroke)) > 0)
    train[hits] = rng.uniform(0.8, 1.2, hits.size)
    pulses = filtered(train, ringing(rng, 45, 600, (0.003, 0.02), 5))
    noise = coloured(count, rng, 80, rng.uniform(600, 5000), rng.uniform(2, 6)) * (rpm / 900)
    total = unit(pulses) + decibel(rng.uniform(-12, 6)) * unit(noise)
    return unit(total * np.sqrt(rpm / 900))


def beeps(seconds: float, rng: np.random.Generator) -> Floats:
    """A chime, telephone, reversing beep or siren."""
    count = round(seconds * RATE)
    time = np.arange(count) / RATE
    rate = float(np.exp(rng.uniform(np.log(0.6), np.log(12))))
    pitch = rng.uniform(300, 3000) * (1 + rng.uniform(0, 0.3) * np.sin(2 * np.pi * rate * time))
    wave = _harmonics(2 * np.pi * np.cumsum(pitch) / RATE, rng, 5)
    gate = np.sin(2 * np.pi * rate * time) > rng.uniform(-1.2, 0.8)
    return unit(wave * gate + 1e-3)


def bangs(seconds: float, rng: np.random.Generator) -> Floats:
    """Doors, dropped spanners, ratchets and hammering."""
    count = round(seconds * RATE)
    total = 1e-3 * rng.standard_normal(count)
    for _ in range(int(rng.integers(2, 10))):
        at = float(rng.uniform(0, seconds))
        burst = unit(ringing(rng, 60, 6000, (0.003, 0.12), 8)) * rng.uniform(0.2, 1)
        many, gap = (int(rng.integers(4, 25)), rng.uniform(0.03, 0.35)) if rng.uniform() < 0.4 else (1, 0.0)
        for number in range(many):
            _add(total, at + number * gap, burst * rng.uniform(0.6, 1.2))
    return unit(total)


MACHINES: dict[str, Callable[[float, np.random.Generator], Floats]] = {
    "bay": bay,
    "music": music,
    "tool": driven_tool,
    "beating": beating_machine,
    "engine": other_engine,
    "beeps": beeps,
    "bangs": bangs,
}
"""Each makes so many seconds of sound with a root mean square of 1."""
