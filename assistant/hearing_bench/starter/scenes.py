"""What a microphone hears in the bay: starts among other sounds, with the truth about them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.sound import RATE, Samples
from assistant.hearing_bench.starter.bystanders import MACHINES
from assistant.hearing_bench.starter.ranges import DrawnStart, Ranges, drawn_start
from assistant.hearing_bench.starter.sounding import (
    coloured,
    decibel,
    filtered,
    level,
    pump_sound,
    resonances,
    start_sound,
    unit,
)
from assistant.hearing_bench.starter.turning import STEP_RATE, Turned, turned

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Speech = Callable[[np.random.Generator], Floats]


@dataclass(frozen=True, eq=False)
class PlacedStart:
    """A start within a scene; times in s from the scene's beginning.

    Attributes:
        start: What was made.
        motion: How the crank turned.
        at_s: When the starter got current.
        ends_s: When it lost it.
        runs_s: When the engine ran; None if it never did.
        stops_s: When the engine no longer ran, or the scene ended; `ends_s` if it never ran.
    """

    start: DrawnStart
    motion: Turned
    at_s: float
    ends_s: float
    runs_s: float | None
    stops_s: float


@dataclass(frozen=True, eq=False)
class Scene:
    """Sound with its truth.

    Attributes:
        samples: As the microphone delivers them.
        starts: The starts in it, in order.
        pumps: Beginning and end of each fuel pump's hum, s.
    """

    samples: Samples
    starts: list[PlacedStart] = field(default_factory=list)
    pumps: list[tuple[float, float]] = field(default_factory=list)


@dataclass(frozen=True)
class WantedScene:
    """What a scene is to hold.

    Attributes:
        seconds: Its length.
        starts: How many starts.
        snr_db: Of the start over all other sound while the starter turns.
        kinds: Names in `MACHINES` of the other sounds.
        talking: Somebody speaks.
        crank_s: Shortest and longest cranking.
        pump: A fuel pump hums before the start; alone without one.
    """

    seconds: float
    starts: int
    snr_db: float
    kinds: tuple[str, ...]
    talking: bool
    crank_s: tuple[float, float] = (0.7, 6.0)
    pump: bool = False


def made_scene(wish: WantedScene, ranges: Ranges, rng: np.random.Generator, speech: Speech | None) -> Scene:
    """Make a scene.

    Args:
        wish: What it holds.
        ranges: What the starts, the room and the microphone are drawn from.
        rng: Source of chance.
        speech: Gives some seconds of speech; needed if somebody talks.
    """
    count = round(wish.seconds * RATE)
    others = _others(wish, count, rng, speech)
    total = others * decibel(rng.uniform(-6, 0))
    loud = np.zeros(count)
    starts: list[PlacedStart] = []
    pumps: list[tuple[float, float]] = []
    free = wish.seconds / max(wish.starts, 1)
    echoes = room(ranges, rng)
    for number in range(wish.starts):
        begin = number * free + float(rng.uniform(0.1, 0.3)) * free
        length = (number + 1) * free - begin - 0.05
        longest = min(wish.crank_s[1], length * 0.75)
        start = drawn_start(ranges, rng, (min(wish.crank_s[0], longest), longest))
        motion = turned(start.car, start.crank_s, length, start.firing)
        sound = filtered(start_sound(start.car, motion, rng), echoes)
        at = round(begin * RATE)
        last = at + round(motion.ends_s * RATE)
        here = sound[: count - at]
        scale = level(total[at:last]) * decibel(wish.snr_db) / max(level(here[: last - at]), 1e-9)
        loud[at : at + here.size] += here * scale
        runs = None if motion.runs_s is None else begin + motion.runs_s
        ends = begin + motion.ends_s
        starts.append(PlacedStart(start, motion, begin, ends, runs, begin + length if runs else ends))
        loud[at + here.size - 400 : at + here.size] *= np.linspace(1, 0, 400)[-min(400, here.size) :]
    if wish.pump:
        hum_s = float(rng.uniform(1.4, 2.6))
        latest = (starts[0].at_s if starts else wish.seconds) - hum_s
        if latest > 0.3:
            at_s = float(rng.uniform(0.1, latest))
            at = round(at_s * RATE)
            hum = filtered(pump_sound(hum_s, rng), echoes)
            scale = level(total[at : at + hum.size]) * decibel(wish.snr_db) / max(level(hum), 1e-9)
            loud[at : at + hum.size] += scale * hum
            pumps.append((at_s, at_s + hum_s))
    return Scene(microphone(total + loud, ranges, rng), starts, pumps)


def _others(wish: WantedScene, count: int, rng: np.random.Generator, speech: Speech | None) -> Floats:
    total = decibel(rng.uniform(-30, -10)) * coloured(count, rng, 30, 8000, rng.uniform(1, 5))
    for kind in wish.kinds:
        total += decibel(rng.uniform(-8, 0)) * MACHINES[kind](wish.seconds, rng)[:count]
    if wish.talking and speech is not None:
        spoken = talk(count, rng, speech)
        total += decibel(rng.uniform(-6, 6)) * unit(spoken)
    return unit(total)


def talk(count: int, rng: np.random.Generator, speech: Speech) -> Floats:
    """So many samples of somebody who speaks, with pauses."""
    spoken = np.zeros(count)
    at = int(rng.uniform(-1, 3) * RATE)
    while at < count:
        said = speech(rng)
        begin = max(at, 0)
        part = said[begin - at :][: count - begin]
        spoken[begin : begin + part.size] += part
        at += said.size + int(rng.uniform(0.1, 3.0) * RATE)
    return spoken


def room(ranges: Ranges, rng: np.random.Generator) -> Floats:
    """The direct sound and an echo that decays."""
    echo = float(rng.uniform(*ranges.echo_s))
    size = round(min(echo, 0.6) * RATE)
    tail = coloured(size, rng, 100, 6000, 2) * np.exp(-np.arange(size) / RATE * 6.9 / echo)
    tail *= decibel(rng.uniform(-12, 6)) / max(float(np.sqrt(np.sum(tail**2))), 1e-9)
    tail[0] += 1.0
    return tail


def microphone(signal: Floats, ranges: Ranges, rng: np.random.Generator) -> Samples:
    """Band limits, resonances, automatic gain, noise of its own, clipping, and 16 bits."""
    signal = filtered(signal, resonances(rng, float(rng.uniform(0, 6))))
    spectrum = np.fft.rfft(signal)
    frequency = np.maximum(np.fft.rfftfreq(signal.size, 1 / RATE), 1.0)
    low, high = float(np.exp(rng.uniform(np.log(30), np.log(250)))), float(rng.uniform(*ranges.high_hz))
    tilt = 10 ** (float(rng.uniform(-3, 3)) / 20 * np.log2(frequency / 1000))
    spectrum *= tilt / (1 + (low / frequency) ** 4) / (1 + (frequency / high) ** 8)
    signal = unit(np.fft.irfft(spectrum, signal.size))
    share = float(rng.uniform(*ranges.agc)) if rng.uniform() < 0.5 else 0.0
    if share > 0.02:
        signal = unit(_levelled(signal, share, float(rng.uniform(0.1, 1.0))))
    signal = signal * decibel(rng.uniform(-45, -12))
    signal = signal + decibel(rng.uniform(-85, -65)) * rng.standard_normal(signal.size)
    return np.clip(np.rint(signal * 32768), -32768, 32767).astype(np.int16)


def _levelled(signal: Floats, share: float, release_s: float) -> Floats:
    """An automatic gain that follows the level: quick down, slow up."""
    block = 160
    many = signal.size // block + 1
    padded = np.concatenate([signal, np.zeros(many * block - signal.size)])
    power = np.sqrt(np.mean(padded.reshape(many, block) ** 2, axis=1)) + 1e-4
    held, followed = float(power[0]), np.zeros(many)
    up, down = 1 - np.exp(-block / RATE / 0.02), 1 - np.exp(-block / RATE / release_s)
    for number, now in enumerate(power):
        held += (now - held) * (up if now > held else down)
        followed[number] = held
    gain = np.interp(np.arange(signal.size) / block, np.arange(many), followed ** (-share))
    return signal * gain


def truth_frames(scene: Scene, times: Floats) -> dict[str, Floats]:
    """What is true at each of some times: arrays to train on.

    Returns:
        ``state`` 0 nothing, 1 cranking, 2 an engine that was started here runs; ``pulse`` 1 near each compression
        while cranking; ``pump``; ``kind`` 0 even, 1 uneven, 2 no rhythm, -1 where it cannot be told.
    """
    state, pulse, pump = np.zeros(times.size), np.zeros(times.size), np.zeros(times.size)
    kind = np.full(times.size, -1.0)
    for placed in scene.starts:
        begin, end = placed.at_s, placed.ends_s
        until = end if placed.runs_s is None else min(end, placed.runs_s)
        cranking = (times >= begin) & (times < until)
        state[cranking] = 1
        if placed.runs_s is not None:
            state[(times >= placed.runs_s) & (times < placed.stops_s)] = 2
        angle = np.interp(times - begin, np.arange(placed.motion.angle.size) / STEP_RATE, placed.motion.angle)
        stroke = angle * placed.start.car.cylinders / (4 * np.pi)
        inside = stroke - np.floor(stroke)
        good = np.asarray(placed.start.car.compression)[
            np.floor(stroke).astype(int) % placed.start.car.cylinders
        ]
        pulse[cranking] = (good * (0.5 - 0.5 * np.cos(2 * np.pi * inside)))[cranking]
        told = cranking & (times > begin + 0.8)
        kind[told] = ("even", "uneven", "no-rhythm").index(placed.start.condition)
    for at, end in scene.pumps:
        pump[(times >= at + 0.1) & (times < end)] = 1
    return {"state": state, "pulse": pulse, "pump": pump, "kind": kind}
