"""The sound of a start: ring gear, armature, gear noise, compressions, breathing, valves, and an engine that runs.

Strengths and resonances are drawn at random within wide limits, from memory and without a source, so that nothing that
is developed with them can lean on one recipe.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.sound import RATE
from assistant.hearing_bench.starter.turning import STEP_RATE, CrankedCar, Turned

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def level(signal: Floats) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(signal**2))) if signal.size else 0.0


def unit(signal: Floats) -> Floats:
    """The same with a root mean square of 1; silence stays silence."""
    now = level(signal)
    return signal / now if now > 1e-12 else signal


def decibel(value: float) -> float:
    """An amplitude factor."""
    return float(10 ** (value / 20))


def coloured(count: int, rng: np.random.Generator, low: float, high: float, slope_db: float) -> Floats:
    """Noise between two frequencies in Hz that falls by `slope_db` an octave; root mean square 1."""
    spectrum = np.fft.rfft(rng.standard_normal(count))
    frequency = np.maximum(np.fft.rfftfreq(count, 1 / RATE), 1.0)
    gain = 10 ** (-slope_db / 20 * np.log2(frequency / 1000.0))
    gain *= 1 / (1 + (low / frequency) ** 4) / (1 + (frequency / high) ** 4)
    return unit(np.fft.irfft(spectrum * gain, count))


def filtered(signal: Floats, response: Floats) -> Floats:
    """A signal through an impulse response, cut to its length."""
    size = signal.size + response.size
    size = 1 << (size - 1).bit_length()
    return np.fft.irfft(np.fft.rfft(signal, size) * np.fft.rfft(response, size), size)[: signal.size]


def ringing(
    rng: np.random.Generator, low: float, high: float, decay: tuple[float, float], many: int
) -> Floats:
    """An impulse response of damped tones between two frequencies in Hz; decays in s to 1/e."""
    time = np.arange(round(decay[1] * 5 * RATE)) / RATE
    total = np.zeros_like(time)
    for _ in range(many):
        frequency = float(np.exp(rng.uniform(np.log(low), np.log(high))))
        tau = float(rng.uniform(*decay))
        total += rng.uniform(0.3, 1.0) * np.exp(-time / tau) * np.sin(2 * np.pi * frequency * time)
    return total


def resonances(rng: np.random.Generator, strength_db: float) -> Floats:
    """A short impulse response with random peaks and dips of about `strength_db`."""
    points = 257
    frequency = np.linspace(0, RATE / 2, points)
    gain = np.zeros(points)
    for _ in range(int(rng.integers(3, 10))):
        centre = float(np.exp(rng.uniform(np.log(70), np.log(7000))))
        width = centre * float(rng.uniform(0.08, 0.6))
        gain += rng.normal(0, strength_db) * np.exp(-0.5 * ((frequency - centre) / width) ** 2)
    response = np.fft.irfft(10 ** (gain / 20))
    return np.asarray(np.roll(response, 64)[:192] * np.hanning(192))


def start_sound(car: CrankedCar, motion: Turned, rng: np.random.Generator) -> Floats:
    """The sound of a start at 16 kHz; its root mean square is 1 while the starter turns."""
    count = round(motion.angle.size / STEP_RATE * RATE)
    steps = np.arange(motion.angle.size) / STEP_RATE
    time = np.arange(count) / RATE
    angle = np.interp(time, steps, motion.angle)
    speed = np.interp(time, steps, np.maximum(motion.speed, 0.0)) * 30 / np.pi
    load = np.interp(time, steps, motion.load)
    powered = (time < motion.ends_s).astype(np.float64)
    total = np.zeros(count)
    # The armature goes on by itself after the current ends, or when the engine overruns it.
    armature = _armature(car, motion, angle, time, float(rng.uniform(0.08, 0.5)))
    strength = (load + 0.15) ** float(rng.uniform(0.3, 1.1)) * (speed / 200 + 0.1) ** float(
        rng.uniform(0.3, 1.0)
    )
    meshed = strength * powered * (speed < 600)
    total += decibel(rng.uniform(-14, 6)) * _unit_over(_whine(car.ring_teeth * angle, rng) * meshed, powered)
    spun, spinning = armature
    pinion = car.ring_teeth / car.pinion_teeth
    turns = spun * pinion * car.reduction
    tone = _whine(turns * car.bars, rng, 2) + rng.uniform(0, 1) * _whine(
        turns * int(rng.integers(9, 17)), rng, 3
    )
    total += decibel(rng.uniform(-24, 0)) * _unit_over(tone * spinning * (0.4 + strength), powered)
    noise = coloured(count, rng, rng.uniform(150, 900), rng.uniform(2500, 9000), rng.uniform(-1, 6))
    rough = (
        1
        + rng.uniform(0, 0.6) * np.sin(car.ring_teeth * angle)
        + rng.uniform(0, 0.3) * np.sin(pinion * angle)
    )
    total += decibel(rng.uniform(-8, 6)) * _unit_over(noise * meshed * rough, powered)
    total += _engine(car, motion, angle, speed, rng, powered)
    total += _clacks(motion, count, rng)
    total = filtered(total, resonances(rng, float(rng.uniform(2, 9))))
    return total / max(level(total[powered > 0]), 1e-9)


def _unit_over(signal: Floats, where: Floats) -> Floats:
    now = level(signal[where > 0])
    return signal / now if now > 1e-9 else signal


def _whine(phase: Floats, rng: np.random.Generator, most: int = 7) -> Floats:
    """Harmonics of a phase in rad whose strengths are random."""
    total = np.zeros_like(phase)
    top = np.gradient(phase) * RATE / (2 * np.pi)
    fall = rng.uniform(0.3, 1.6)
    for order in range(1, int(rng.integers(2, most + 1)) + 1):
        loud = float(rng.lognormal(0, 0.7)) / order**fall
        total += loud * np.sin(order * phase + rng.uniform(0, 2 * np.pi)) * (order * top < 0.46 * RATE)
    return total


def _armature(
    car: CrankedCar, motion: Turned, angle: Floats, time: Floats, coast_s: float
) -> tuple[Floats, Floats]:
    """Crank angle as the armature sees it, and its strength: it coasts after the current ends."""
    speed = np.gradient(angle) * RATE
    most = car.free_rpm * 1.3 * np.pi / 30
    spun = np.minimum(np.maximum(speed, 0.0), most)
    last = int(np.searchsorted(time, motion.ends_s))
    final = float(np.mean(spun[max(0, last - 800) : max(last, 1)])) if last else 0.0
    after = np.maximum(time - motion.ends_s, 0.0)
    spun = np.where(after > 0, final * np.exp(-after / coast_s), spun)
    return np.cumsum(spun) / RATE, np.where(after > 0, 0.4 * np.exp(-after / coast_s), 1.0)


def _engine(
    car: CrankedCar,
    motion: Turned,
    angle: Floats,
    speed: Floats,
    rng: np.random.Generator,
    powered: Floats,
) -> Floats:
    """Compressions, breathing and valves; and combustion from the moment when it runs."""
    count = angle.size
    fires = np.zeros(count) if motion.runs_s is None else (speed > 320).astype(np.float64)
    fires = np.convolve(fires, np.ones(1600) / 1600, "same") if motion.runs_s is not None else fires
    stroke = angle * car.cylinders / (4 * np.pi)
    number = np.floor(stroke).astype(np.int64) % car.cylinders
    good = np.asarray(car.compression)[number]
    inside = stroke - np.floor(stroke)
    swell = 0.5 - 0.5 * np.cos(2 * np.pi * inside)
    places = np.flatnonzero(np.diff(np.floor(stroke)) > 0)
    train = np.zeros(count)
    train[places] = good[places] * rng.uniform(0.75, 1.25, places.size)
    thump = filtered(train, ringing(rng, 35, 260, (0.008, 0.04), 4))
    breath = coloured(count, rng, 60, rng.uniform(400, 2500), rng.uniform(2, 7)) * (0.1 + good * swell)
    turning = np.minimum(speed / 150, 1.5)
    total = decibel(rng.uniform(-14, 5)) * _unit_over(thump, powered)
    total += decibel(rng.uniform(-14, 3)) * _unit_over(breath * turning, powered)
    ticks = np.zeros(count)
    valves = np.floor(stroke * 4 + rng.uniform())
    ticks[np.flatnonzero(np.diff(valves) > 0)] = 1.0
    ticks *= rng.uniform(0.4, 1.6, count)
    tick = filtered(ticks, ringing(rng, 900, 6000, (0.001, 0.006), 4))
    total += decibel(rng.uniform(-28, -8)) * _unit_over(tick, powered)
    if motion.runs_s is not None:
        total += _combustion(train, fires, speed, rng)
    return total


def _combustion(train: Floats, fires: Floats, speed: Floats, rng: np.random.Generator) -> Floats:
    """An engine that runs: exhaust pulses, intake noise, and the noise of its parts."""
    pulses = filtered(train * fires, ringing(rng, 45, 500, (0.003, 0.02), 5))
    rush = coloured(train.size, rng, 80, rng.uniform(600, 4000), rng.uniform(2, 6)) * fires
    shake = filtered(train * fires, ringing(rng, 600, 4000, (0.001, 0.008), 5))
    loud = decibel(rng.uniform(-3, 12)) * np.sqrt(np.clip(speed / 800, 0.2, 3))
    parts = (
        unit(pulses) + decibel(rng.uniform(-12, 2)) * unit(rush) + decibel(rng.uniform(-20, 0)) * unit(shake)
    )
    return loud * parts


def _clacks(motion: Turned, count: int, rng: np.random.Generator) -> Floats:
    """The pinion that is thrown into the ring gear, and drops out of it."""
    train = np.zeros(count)
    for at in (0.0, motion.ends_s + rng.uniform(0.0, 0.08)):
        place = round(at * RATE)
        if place < count:
            train[place] = rng.uniform(0.1, 1.0)
    ring = unit(ringing(rng, 300, 5000, (0.002, 0.015), 6))
    return decibel(rng.uniform(-10, 12)) * filtered(train, ring * np.sqrt(ring.size) * 0.05)


def pump_sound(seconds: float, rng: np.random.Generator) -> Floats:
    """A fuel pump that builds up pressure: a tone that sinks as it does, its harmonics, and noise; then a click."""
    count = round(seconds * RATE)
    time = np.arange(count) / RATE
    base = float(np.exp(rng.uniform(np.log(120), np.log(700))))
    sag = rng.uniform(0.02, 0.15)
    frequency = base * (1 - np.exp(-time / rng.uniform(0.02, 0.1))) * (1 - sag * (1 - np.exp(-time / 0.4)))
    phase = 2 * np.pi * np.cumsum(frequency) / RATE
    hum = unit(_whine(phase, rng, 6)) * (1 + 0.2 * np.sin(phase / rng.integers(3, 9)))
    noise = coloured(count, rng, base, rng.uniform(1500, 5000), rng.uniform(0, 6))
    total = hum + decibel(rng.uniform(-18, -2)) * noise
    edge = round(0.03 * RATE)
    total[-edge:] *= np.linspace(1, 0, edge)
    return unit(filtered(total, resonances(rng, 6.0)))
