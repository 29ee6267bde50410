"""Phrases that miss those of a grammar by a little, made from it by `assistant.grammar.near_misses`."""

from __future__ import annotations

import zlib
from functools import partial
from typing import TYPE_CHECKING

from assistant.core.dialogue.states import State
from assistant.grammar.near_misses import near_misses
from assistant.hearing_bench.trial import SoundTrial, level_name

if TYPE_CHECKING:
    from assistant.hearing_bench.rows.context import RowContext

PART = "near misses, made"
"""Row of the report."""


def made_misses(context: RowContext) -> list[SoundTrial]:
    """Near misses of each grammar, over all distances, spoken in turn by voices that were never trained on."""
    plan = context.plan.misses
    voices = context.made.voices(plan.voices)
    noises = context.manifest.mixing.noises
    trials: list[SoundTrial] = []
    number = 0
    for question, state in plan.at if voices else ():
        grammar = context.made.grammars.request(context.made.request(question, State(state)))
        every = sorted({miss.text for miss in near_misses(grammar)})
        draw = context.draw("misses", question, state)
        for words in draw.sample(every, min(len(every), context.shared(plan.count))):
            voice = voices[number % len(voices)]
            seed = zlib.crc32(f"{context.manifest.seed} misses {number} {words}".encode())
            at = context.noisy(partial(context.made.say, voice, words), noises[number % len(noises)], seed)
            trials += [
                SoundTrial(PART, "synthetic", level_name(db), words, None, grammar, partial(at, db))
                for db in context.few(plan.levels_db)
            ]
            number += 1
    return trials
