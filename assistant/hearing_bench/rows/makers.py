"""Every kind of row by the name that `--only` takes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.hearing_bench.rows import digits, hard, made_misses, nobody, people
from assistant.hearing_bench.rows.context import in_bay_noise
from assistant.hearing_bench.rows.cut_files import cut_files
from assistant.hearing_bench.rows.early import early
from assistant.hearing_bench.rows.live_talk import live_talk

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.hearing_bench.measurements import HeardUtterance
    from assistant.hearing_bench.ours import Ours
    from assistant.hearing_bench.rows.context import RowContext
    from assistant.hearing_bench.trial import SoundTrial

MAKERS: dict[str, Callable[[RowContext], list[SoundTrial]]] = {
    "orders": people.orders,
    "single-words": people.single_words,
    "radio": hard.radio,
    "hardships": hard.hardships,
    "nobody": nobody.nobody,
    "made-misses": made_misses.made_misses,
    "digits": digits.digits,
}
"""The rows of `assistant.hearing_bench.plans`."""

BESIDE = 2
"""The recogniser for comparison, which takes five times as long, hears one in so many answers of the manifest."""

CUT_FILES = "cut-files"
"""The row that is heard by the command `hear`."""

LIVE_TALK, EARLY = "live-talk", "early"
"""The rows that are heard by the real ear."""

WHOLE: dict[str, Callable[[RowContext, Ours], list[HeardUtterance]]] = {
    CUT_FILES: cut_files,
    LIVE_TALK: live_talk,
    EARLY: early,
}
"""Rows that are not made of trials; one process hears each of them as a whole."""


def trials_of(part: str, context: RowContext, levels_db: tuple[float, ...]) -> list[SoundTrial]:
    """The trials of a row of the manifest or of one of `MAKERS`.

    Args:
        part: Its name.
        context: What it is made from.
        levels_db: Ratios of the manifest's rows.

    Raises:
        BayAssistantError: It cannot be made.
    """
    if part in MAKERS:
        return MAKERS[part](context)
    manifest, made, share = context.manifest, context.made, context.share
    for answers in manifest.answers:
        if answers.name == part:
            return in_bay_noise(context, made.answers(answers, share), levels_db, beside=BESIDE)
    for phrases in manifest.phrases:
        if phrases.name == part:
            return in_bay_noise(context, made.phrases(phrases, share), levels_db, beside=0)
    for recordings in manifest.recordings:
        if recordings.name == part:
            return in_bay_noise(context, made.recordings(recordings, share), levels_db, beside=BESIDE)
    for other in manifest.other:
        if other.name == part:
            return in_bay_noise(context, made.other(other, share), levels_db, beside=BESIDE)
    return []
