"""The share of wrong phones, to follow a run by."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import torch
from torch import Tensor

from assistant.acoustic.augment import Strength, through_the_air
from assistant.acoustic.plan import Plan
from assistant.acoustic.windows import TrainingSpeech, Windows

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.acoustic.features import Cepstra
    from assistant.acoustic.net import Net


CONDITIONS: dict[str, dict[str, float]] = {
    "clean": {"lowest_db": 60, "highest_db": 60},
    "noise 10 dB": {"lowest_db": 10, "highest_db": 10},
    "noise 3 dB": {"lowest_db": 3, "highest_db": 3},
    "talk 18 dB under": {"lowest_db": 60, "highest_db": 60, "talk": 1, "nearest_db": 18, "farthest_db": 18},
    "talk 9 dB under": {"lowest_db": 60, "highest_db": 60, "talk": 1, "nearest_db": 9, "farthest_db": 9},
}
"""What is set of `Strength` for each figure; nothing but a room or a band now and then comes besides."""


@torch.no_grad()
def phone_errors(net: Net, cepstra: Cepstra, kept: TrainingSpeech, noises: Tensor) -> dict[str, float]:
    """Share of wrong phones in each of `CONDITIONS`, by the likeliest output of each step, after the front."""
    net.eval()
    found = {}
    plain = replace(Strength(), clean=0, room=0.3, narrow=0.1, talk=0, manners=0, coded=0, tight=0, raw=0)
    for name, condition in CONDITIONS.items():
        torch.manual_seed(7)
        windows = Windows(kept, Plan(1, batch=128, seed=7))
        strength = replace(plain, **condition)
        wrong = total = 0
        for _ in range(2):
            batch = windows.batch(windows.layout(frame_targets=False))
            logs = net(cepstra(through_the_air(batch.sound, batch.speech, noises, strength)))
            best = logs.argmax(2).cpu().numpy()
            ends = np.cumsum(batch.lengths.cpu().numpy())
            targets = batch.targets.cpu().numpy()
            for row, end in enumerate(ends):
                said = targets[(ends[row - 1] if row else 0) : end]
                heard = best[row][np.concatenate([[True], best[row][1:] != best[row][:-1]])]
                wrong += distance(heard[heard > 0], said)
                total += len(said)
        found[name] = round(wrong / max(1, total), 4)
    torch.manual_seed(int(time.monotonic() * 1000) % 2**31)
    return found


def distance(first: NDArray[np.int64], second: NDArray[np.int64]) -> int:
    """Fewest insertions, deletions and replacements between two sequences."""
    row = np.arange(len(second) + 1)
    for number, one in enumerate(first, 1):
        before = row
        row = np.empty_like(before)
        row[0] = number
        change = np.minimum(before[:-1] + (second != one), before[1:] + 1)
        for place in range(len(second)):
            row[place + 1] = min(change[place], row[place] + 1)
    return int(row[-1])
