"""Scenes to train on, mixed as powers of bands: few sounds make many scenes.

Powers of sounds that have nothing to do with each other add up, so a mixture needs no new sound. `made_pool` makes
the sounds once from `ranges.DEVELOPING`; `mixed` draws starts, machines, speech, levels and colours anew each time.
A scene can be longer than the sounds, which then come again and again: in a session the microphone is open for minutes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.hearing.baynoise import bay_noise
from assistant.hearing.sound import RATE
from assistant.hearing.starter.features import BANDS, FLOOR, FRAME_S, HOP, SLOW_S, WINDOW, bands_of
from assistant.hearing.starter.network import DELAY
from assistant.hearing_bench.starter.bystanders import BAY, MACHINES
from assistant.hearing_bench.starter.ranges import DEVELOPING, drawn_start
from assistant.hearing_bench.starter.scenes import PlacedStart, Scene, room, talk, truth_frames
from assistant.hearing_bench.starter.sounding import coloured, filtered, level, pump_sound, start_sound, unit
from assistant.hearing_bench.starter.turning import turned

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Few = NDArray[np.float32]

PIECE_S = 16.0
FRAMES = round(PIECE_S * RATE - WINDOW) // HOP
"""Frames of one piece."""

LEAD_S = 0.3
"""Silence before and after each start, so that its truth is complete."""

TORN = 0.35
"""Share of the scenes in which sound was lost."""

STILL = 0.35
"""Share of the scenes in a still bay."""

LOUD = 2000.0
"""Root mean square of each sound, in steps of 16 bits."""


@dataclass(frozen=True, eq=False)
class SoundClip:
    """A start or a pump: powers of bands of shape (frames, BANDS) with their truth."""

    powers: Few
    truth: dict[str, Few]


@dataclass(frozen=True, eq=False)
class Pool:
    """Sounds to mix: starts, pumps, and pieces of all other sounds by kind, of shape (frames, BANDS)."""

    starts: list[SoundClip]
    pumps: list[SoundClip]
    others: dict[str, list[Few]]


def powers(signal: Floats) -> Few:
    """Powers of the bands of a sound, one row a frame."""
    samples = np.clip(np.rint(signal * LOUD), -32768, 32767).astype(np.int16)
    places = range(0, samples.size - WINDOW + 1, HOP)
    return np.exp(np.stack([bands_of(samples[at : at + WINDOW]) for at in places])) - np.float32(FLOOR)


def _times(count: int) -> Floats:
    return np.asarray((np.arange(count) - DELAY) * FRAME_S + WINDOW / 2 / RATE)


def start_clip(rng: np.random.Generator) -> SoundClip:
    """A start in a room, with silence round it; while the starter turns its root mean square is 1."""
    start = drawn_start(DEVELOPING, rng, (0.6, float(rng.choice([4.0, 10.0]))))
    length = start.crank_s + (float(rng.uniform(2, 6)) if start.firing else 0.5)
    motion = turned(start.car, start.crank_s, length, start.firing)
    sound = filtered(start_sound(start.car, motion, rng), room(DEVELOPING, rng))
    sound = sound / max(level(sound[: round(motion.ends_s * RATE)]), 1e-9)
    still = np.zeros(round(LEAD_S * RATE))
    made = powers(np.concatenate([still, sound, still]))
    runs = None if motion.runs_s is None else LEAD_S + motion.runs_s
    ends = LEAD_S + motion.ends_s
    placed = PlacedStart(start, motion, LEAD_S, ends, runs, LEAD_S + length if runs else ends)
    truth = truth_frames(Scene(np.zeros(0, np.int16), [placed]), _times(len(made)))
    return SoundClip(made, {name: np.asarray(one, np.float32) for name, one in truth.items()})


def pump_clip(rng: np.random.Generator) -> SoundClip:
    """A fuel pump's hum with its truth."""
    long_s = float(rng.uniform(1.4, 2.6))
    still = np.zeros(round(LEAD_S * RATE))
    made = powers(np.concatenate([still, filtered(pump_sound(long_s, rng), room(DEVELOPING, rng)), still]))
    times = _times(len(made))
    hums = (times >= LEAD_S + 0.1) & (times < LEAD_S + long_s)
    return SoundClip(made, {"pump": hums.astype(np.float32)})


def made_pool(rng: np.random.Generator, speech: Callable[[np.random.Generator], Floats], size: int) -> Pool:
    """Make the sounds.

    Args:
        rng: Source of chance.
        speech: Gives some seconds of speech.
        size: Pieces of each kind; there are four times as many starts.
    """
    count = round(PIECE_S * RATE)
    others: dict[str, list[Few]] = {}

    def keep(kind: str, sound: Floats) -> None:
        others.setdefault(kind, []).append(powers(unit(sound)))

    for _ in range(size):
        for bay in BAY:
            keep(bay, bay_noise(bay, PIECE_S, RATE, int(rng.integers(1 << 30))))
        for kind, make in MACHINES.items():
            if kind != "bay":
                keep(kind, make(PIECE_S, rng)[:count])
        keep("talk", talk(count, rng, speech))
        keep("rush", coloured(count, rng, 30, 8000, float(rng.uniform(1, 5))))
    starts = [start_clip(rng) for _ in range(4 * size)]
    return Pool(starts, [pump_clip(rng) for _ in range(size)], others)


def _decibel(value: float) -> float:
    """A factor of power."""
    return float(10 ** (value / 10))


def _colour(rng: np.random.Generator) -> Few:
    """A microphone or a place: a tilt, limits and some waves over the bands, as factors of power."""
    at = np.linspace(-1, 1, BANDS)
    gain = rng.uniform(-6, 6) * at + rng.normal(0, 2) * np.sin(rng.uniform(2, 9) * at + rng.uniform(0, 6.3))
    gain -= 25 * np.clip(at - rng.uniform(0.5, 1.2), 0, None)
    return np.asarray(10 ** (gain / 10), np.float32)


def mixed(pool: Pool, rng: np.random.Generator, pieces: int = 1) -> dict[str, Few]:
    """One scene: logarithms of the bands' powers, and their truth.

    Args:
        pool: The sounds.
        rng: Source of chance.
        pieces: Length of the scene, in pieces of `FRAMES`.
    """
    truth = {name: np.zeros(pieces * FRAMES, np.float32) for name in ("state", "pulse", "pump")}
    truth["kind"] = np.full(pieces * FRAMES, -1.0, np.float32)
    total = _others(pool, rng, pieces)
    loud = np.zeros_like(total)
    # A start in a still bay is as loud as any other sound there that begins at once.
    snr = _decibel(float(rng.uniform(-2, 28) if rng.uniform() < 0.75 else rng.uniform(28, 50)))
    first = 0
    for piece in range(pieces):
        first = max(first, piece * FRAMES)
        starts = int(rng.choice([0, 1, 2], p=[0.45, 0.35, 0.2]))
        for number in range(starts):
            at = first + int(rng.integers(20, 260 if starts == 2 else 560))
            if at > (piece + 1) * FRAMES - 60:
                break
            clip = pool.starts[int(rng.integers(len(pool.starts)))]
            first = _add(loud, truth, clip, at, snr, total) + 10 * number
    for _ in range(int(rng.binomial(pieces, 0.2))):
        clip = pool.pumps[int(rng.integers(len(pool.pumps)))]
        latest = pieces * FRAMES - len(clip.powers) - 1
        at = int(rng.integers(5, latest))
        if not (truth["state"] + truth["pump"])[at : at + len(clip.powers)].any():
            _add(loud, truth, clip, at, snr, total)
    made = {"bands": _heard(total + loud, rng), **truth}
    return _torn(made, rng) if rng.uniform() < TORN else made


def _torn(made: dict[str, Few], rng: np.random.Generator) -> dict[str, Few]:
    """The same with frames that were lost, and some that come twice, as on a machine that has no time for sound."""
    kept: list[int] = []
    frames = len(made["bands"])
    at, often = 0, float(np.exp(rng.uniform(np.log(3), np.log(60))))
    while at < frames:
        long = 1 + int(rng.exponential(often))
        kept += range(at, at + long)
        at += long + int(rng.integers(1, 8)) * int(rng.choice([1, 1, 1, -1]))
        at = max(at, 0)
    rows = np.minimum(np.asarray(kept), frames - 1)
    rows = np.concatenate([rows, np.full(frames, frames - 1)])[:frames]
    return {name: value[rows] for name, value in made.items()}


def _add(loud: Few, truth: dict[str, Few], clip: SoundClip, at: int, snr: float, total: Few) -> int:
    """Add a start or a pump; returns the frame after it."""
    long = min(len(clip.powers), len(total) - at)
    on = clip.truth.get("state", clip.truth.get("pump"))
    assert on is not None  # noqa: S101
    heard = np.flatnonzero(on[:long] > 0)
    here = clip.powers[heard[0] : heard[-1] + 1].sum(axis=1).mean() if heard.size else 1.0
    scale = snr * total[at : at + long].sum(axis=1).mean() / max(float(here), 1e-9)
    loud[at : at + long] += np.float32(scale) * clip.powers[:long]
    for name, one in clip.truth.items():
        truth[name][at : at + long] = one[:long]
    return at + long


def _others(pool: Pool, rng: np.random.Generator, pieces: int) -> Few:
    """Machines, music and speech at random levels, many of which begin or end suddenly; or speech alone.

    Those that deceived the first network come more often. In a still bay everything comes and goes together, as in a
    recording that is played.
    """
    still = rng.uniform() < STILL
    kinds = [kind for kind in pool.others if kind not in {"talk", "rush"}]
    more = {"impact-wrench": 3.0, "music": 3.0, **({"pink": 3.0, "compressor": 2.0} if still else {})}
    often = np.array([more.get(one, 1.0) for one in kinds])
    many = int(rng.choice([0, 1, 2], p=[0.35, 0.5, 0.15] if still else [0.2, 0.55, 0.25]))
    drawn = list(rng.choice(kinds, many, replace=False, p=often / often.sum()))
    if rng.uniform() < (0.8 if not drawn else 0.5):
        drawn.append("talk")
    quiet = float(rng.uniform(-70, -40) if still else rng.uniform(-60, -10))
    total = np.float32(_decibel(quiet)) * _piece(pool, "rush", rng, pieces)
    sudden = still or rng.uniform() < 0.5
    gate = _gate(rng, int(rng.integers(1, 4)) if still else 1, pieces)
    for kind in drawn:
        loud = float(rng.uniform(-8, 2) if kind == "talk" else rng.uniform(-10, 0))
        part = np.float32(_decibel(loud)) * _piece(pool, kind, rng, pieces)
        if sudden and (still or kind != "talk" or rng.uniform() < 0.3):
            part = part * (gate if still or rng.uniform() < 0.5 else _gate(rng, 1, pieces))[:, None]
        total += part
    return total


def _piece(pool: Pool, kind: str, rng: np.random.Generator, pieces: int) -> Few:
    """A sound of one kind, from any place in it and as often as is needed, through a colour of its own."""
    part = pool.others[kind][int(rng.integers(len(pool.others[kind])))]
    rows = (int(rng.integers(len(part))) + np.arange(pieces * FRAMES)) % len(part)
    return _colour(rng) * part[rows]


def _gate(rng: np.random.Generator, many: int, pieces: int) -> Few:
    """One while something sounds and zero otherwise, with edges of up to a third of a second.

    It sounds so many times in each piece; in a long scene some of these last long.
    """
    frames = pieces * FRAMES
    at, shape = np.arange(frames), np.zeros(frames)
    for _ in range(many * pieces):
        begin = int(rng.integers(0, frames - 100))
        long = round(float(np.exp(rng.uniform(np.log(0.3), np.log(PIECE_S / many)))) / FRAME_S)
        rise, fall = float(rng.uniform(0.5, 20)), float(rng.uniform(0.5, 20))
        long *= int(rng.choice([1, pieces], p=[0.8, 0.2]))
        once = np.clip((at - begin) / rise, 0, 1) * np.clip((begin + long - at) / fall, 0, 1)
        shape = np.maximum(shape, once)
    return np.asarray(shape**2, np.float32)


def _heard(total: Few, rng: np.random.Generator) -> Few:
    """Through a microphone: colour, automatic gain, level and its own noise; logarithms of the bands."""
    total = total * _colour(rng)
    if rng.uniform() < 0.5:
        share, slow = float(rng.uniform(0, 0.9)), FRAME_S / float(rng.uniform(0.1, 1.0))
        level_now, gain = float(total[0].sum()), np.ones(len(total))
        for number, now in enumerate(total.sum(axis=1)):
            level_now += (float(now) - level_now) * (0.55 if now > level_now else slow)
            gain[number] = max(level_now, 1e-9) ** -share
        total = total * gain[:, None].astype(np.float32)
    total = (
        total / max(float(total.sum(axis=1).mean()), 1e-9) * np.float32(_decibel(float(rng.uniform(20, 65))))
    )
    return np.asarray(
        np.log(total + np.float32(FLOOR) + np.float32(_decibel(float(rng.uniform(-10, 5))) / BANDS)),
        np.float32,
    )


def relative(bands: Few) -> Few:
    """Bands relative to their running means, as `features.SlowMean` makes them; of shape (scenes, frames, BANDS)."""
    made, mean = np.empty_like(bands), bands[:, 0]
    for number in range(bands.shape[1]):
        now = bands[:, number]
        mean = mean + (now - mean) * np.float32(max(1 / (number + 1), FRAME_S / SLOW_S))
        made[:, number] = now - mean
    return made


def batch(pool: Pool, rng: np.random.Generator, size: int, pieces: int = 1) -> dict[str, Any]:
    """Several scenes of so many pieces: relative bands and their truth, as `training` takes them."""
    scenes = [mixed(pool, rng, pieces) for _ in range(size)]
    made = {name: np.stack([one[name] for one in scenes]) for name in scenes[0]}
    return {**made, "bands": relative(made["bands"])}


def stretches(pool: Pool, rng: np.random.Generator, longest: int) -> Iterator[dict[str, Any]]:
    """Scenes of one to `longest` pieces, one after the other, piece by piece and without an end.

    Each piece follows the one before, unless it has ``begins``: then a new scene begins with it.
    """
    while True:
        pieces = int(rng.integers(1, longest + 1))
        made = mixed(pool, rng, pieces)
        made["bands"] = relative(made["bands"][None])[0]
        for at in range(0, pieces * FRAMES, FRAMES):
            yield {name: value[at : at + FRAMES] for name, value in made.items()} | {"begins": not at}
