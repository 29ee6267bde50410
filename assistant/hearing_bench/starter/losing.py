"""Sound as it arrives on a machine that has no time for it: pieces are missing, or come late or twice."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from assistant import files, resources
from assistant.hearing.sound import RATE, read_sound
from assistant.hearing_bench.starter.sounding import decibel

if TYPE_CHECKING:
    from assistant.hearing.sound import Samples

Way = Literal["zeros", "late", "skipped", "twice"]
"""Zeros stand for what was lost; zeros come in between; nothing stands for it; the piece before comes again."""

SHORTEST_S, LONGEST_S = 0.01, 0.1
"""Length of a gap; chosen: from one buffer of a sound card to the longest that is usual."""

APART_S = (0.05, 0.8)
"""Sound between two gaps; chosen, worse than a session bears."""

HUM_DB = -66.0
"""Level of a virtual microphone's own noise, dB of full scale."""


def with_gaps(samples: Samples, rng: np.random.Generator, way: Way) -> Samples:
    """The same sound with gaps at random."""
    parts: list[Samples] = []
    at = 0
    while at < samples.size:
        parts.append(samples[at : at + int(rng.uniform(*APART_S) * RATE)])
        at += parts[-1].size
        gap = int(rng.uniform(SHORTEST_S, LONGEST_S) * RATE)
        if way in {"zeros", "late"}:
            parts.append(np.zeros(gap, np.int16))
        if way == "twice":
            parts.append(parts[-1][-gap:])
        if way in {"zeros", "skipped"}:
            at += gap
    return np.concatenate(parts)


def plain_fixtures() -> list[str]:
    """Names of the clips of `audio_fixtures` in whose noise nothing cranks."""
    clips = json.loads(
        files.read_text(resources.directory("audio_fixtures") / "manifest.json", files.SETTINGS)
    )
    return [one["file"] for one in clips["clips"] if one["noise"] != "cranking"]


def played(seconds: float, rng: np.random.Generator) -> Samples:
    """Clips of `audio_fixtures` in which nothing cranks, one after another through a virtual microphone with gaps."""
    names = plain_fixtures()
    count = round(seconds * RATE)
    total = rng.standard_normal(count) * 32768 * decibel(HUM_DB)
    at = int(rng.uniform(0.5, 4) * RATE)
    while at < count:
        clip = read_sound(resources.directory("audio_fixtures") / str(rng.choice(names))).samples[
            : count - at
        ]
        total[at : at + clip.size] += clip
        at += clip.size + int(rng.uniform(0.5, 4) * RATE)
    whole = np.clip(np.rint(total), -32768, 32767).astype(np.int16)
    return with_gaps(whole, rng, get_args(Way)[int(rng.integers(4))])[:count]
