"""Real sound for an ear, and what it is asked to hear."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from assistant import resources
from assistant.core.values.result import Control, GrammarRequest
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.baynoise import bay_noise
from assistant.hearing.sound import RATE, Samples, read_sound

SOUNDS = Path(__file__).parent / "sounds"
GRAMMARS = GrammarSet.load(resources.directory("grammars"))
LAMP = GrammarRequest(outcomes=("lit", "dim", "dark", "steady", "blinking"), controls=(Control.SAY_AGAIN,))


def sound(name: str) -> Samples:
    return read_sound(SOUNDS / f"{name}.flac").samples


def noise(seconds: float, level_db: float) -> Samples:
    made = 32768 * 10 ** (level_db / 20) * bay_noise("pink", seconds, RATE, seed=9)
    return np.clip(np.rint(made), -32768, 32767).astype(np.int16)
