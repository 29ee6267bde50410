"""Sound as an array, which speaks, fills banks and is augmented."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from assistant.acoustic.agreed import RATE

Sound: TypeAlias = NDArray[np.float32]
"""Samples from -1 to 1, `RATE` a second."""


def trimmed(sound: Sound, *, below_db: float = -45.0, keep_s: float = 0.06) -> Sound:
    """The sound with only a little of the silence around it."""
    loudest = float(np.max(np.abs(sound), initial=0.0))
    loud = np.flatnonzero(np.abs(sound) > loudest * 10 ** (below_db / 20))
    if not loud.size:
        return sound[:0]
    keep = round(keep_s * RATE)
    return sound[max(0, loud[0] - keep) : loud[-1] + keep]
