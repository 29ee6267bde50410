"""Readings said digit by digit, after the same reading was not understood as usual."""

from __future__ import annotations

import zlib
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from assistant.grammar.numbers import by_digits
from assistant.hearing_bench.trial import SoundTrial, level_name

if TYPE_CHECKING:
    from assistant.hearing_bench.rows.context import RowContext

ONE_BY_ONE = "readings, digit by digit"
"""Row of the second try by itself."""

IN_TWO = "readings, in two turns"
"""Row of both tries: the second counts where the first was not accepted."""


def digits(context: RowContext) -> list[SoundTrial]:
    """Each reading as usual, with its digits in the same kind of noise as the second try."""
    plan = context.plan.digits
    (part,) = [one for one in context.manifest.answers if one.name == plan.of]
    trials: list[SoundTrial] = []
    for one in context.made.answers(part, context.share * min(1.0, plan.count / part.count)):
        if one.truth is None or one.truth.value is None:
            continue
        grammar = context.made.grammars.request(replace(one.grammar.request, digits=True))
        words = by_digits(one.truth.value)
        truth = grammar.parse(words)
        seed = zlib.crc32(f"{one.seed} digits".encode())
        at = context.noisy(partial(context.made.say, one.speaker, words), one.noise, seed)
        for db in context.few(plan.levels_db):
            condition = level_name(db)
            second = SoundTrial(
                ONE_BY_ONE, one.speaker, condition, words, truth, grammar, partial(at, db), beside=False
            )
            trials.append(
                SoundTrial(
                    "readings, first turn",
                    one.speaker,
                    condition,
                    one.words,
                    one.truth,
                    one.grammar,
                    partial(context.made.mixture, one, db),
                    beside=False,
                    then=second,
                    together=IN_TWO,
                )
            )
    return trials
