"""Orders and single words, spoken by people."""

from __future__ import annotations

import zlib
from functools import cache, partial
from typing import TYPE_CHECKING

from assistant.errors import GearProblem
from assistant.hearing_bench.orders import meaning
from assistant.hearing_bench.singles import (
    grammar_of,
    read_sets,
    singles_of,
    sound_of,
    ten_choices,
)
from assistant.hearing_bench.speech import recording
from assistant.hearing_bench.trial import SoundTrial, level_name
from assistant.hearing_bench.wordset import dictionary

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from assistant.hearing_bench.mixing import Signal
    from assistant.hearing_bench.orders import Order
    from assistant.hearing_bench.rows.context import RowContext
    from assistant.hearing_bench.singles import Single, SinglesSet

PEOPLE = "people"
"""Speaker of a row in which each recording has its own."""

TALKERS = 12
"""Recordings of another speaker that are read on in the background."""


@cache
def heard_recording(path: Path) -> Signal:
    """A recording, trimmed, read once."""
    return recording(path)


def orders(context: RowContext) -> list[SoundTrial]:
    """People's orders: clean and in bay noise, and while one other voice talks, a person's or synthetic."""
    found = context.people_orders()
    if found is None:
        return []
    spoken, grammar = found
    plan = context.plan.orders
    noises = context.manifest.mixing.noises
    voices = context.made.voices(plan.voices)
    sentences = context.plan.radio.sentences
    trials = []
    for number, order in enumerate(spoken):
        truth = meaning(order.slots)
        beside = number % plan.beside == 0
        speech = partial(heard_recording, order.file)
        seed = zlib.crc32(f"{context.manifest.seed} orders {order.file.name}".encode())
        at = context.noisy(speech, noises[number % len(noises)], seed)
        trials += [
            SoundTrial("orders", PEOPLE, level_name(db), "", truth, grammar, partial(at, db), beside=beside)
            for db in context.few(plan.levels_db)
        ]
        talks: list[tuple[str, Sequence[Callable[[], Signal]]]] = [
            ("orders, one person talking", _of_another(context, spoken, order))
        ]
        if voices:
            voice = voices[number % len(voices)]
            talks.append(
                (
                    "orders, one synthetic voice talking",
                    [partial(context.made.say, voice, words) for words in sentences],
                )
            )
        for part, pieces in talks:
            for db in context.few(plan.talk_db):
                sound = partial(
                    context.talked_over,
                    speech,
                    partial(_spoken, pieces),
                    db,
                    f"{part} {order.file.name}",
                )
                condition = f"{db:g} dB under"
                trials.append(SoundTrial(part, PEOPLE, condition, "", truth, grammar, sound, beside=beside))
    return trials


def _spoken(pieces: Sequence[Callable[[], Signal]]) -> list[Signal]:
    return [piece() for piece in pieces]


def _of_another(context: RowContext, spoken: list[Order], order: Order) -> list[partial[Signal]]:
    """Recordings of one other speaker, to be read on in the background."""
    draw = context.draw("another", order.file.name)
    others = sorted({one.speaker for one in spoken} - {order.speaker})
    if not others:
        return []
    speaker = draw.choice(others)
    said = [one for one in spoken if one.speaker == speaker]
    return [partial(heard_recording, one.file) for one in draw.sample(said, min(TALKERS, len(said)))]


def single_words(context: RowContext) -> list[SoundTrial]:
    """Single words by people: ten choices with the spoken word among them, and ten without it."""
    plan = context.plan.singles
    trials = []
    for one in read_sets(context.manifest.path.parent / plan.file):
        try:
            trials += _of_set(context, one)
        except GearProblem as problem:
            context.note(str(problem))
    return trials


def _of_set(context: RowContext, one: SinglesSet) -> list[SoundTrial]:
    plan = context.plan.singles
    singles = singles_of(one)
    every = [single.words for single in singles]
    lexicon = dictionary({word for words in every for word in words.split()}, context.made.grammars.lexicon)
    noises = context.manifest.mixing.noises
    step = max(1, round(1 / context.share))
    trials = []
    for number, single in enumerate(singles[::step]):
        draw = context.draw("choices", one.name, single.words)
        seed = zlib.crc32(f"{context.manifest.seed} {one.name} {single.words}".encode())
        at = context.noisy(partial(_of, one, single), noises[number % len(noises)], seed)
        for among in (True, False):
            count = min(plan.choices, len(every) - 1)
            choices = ten_choices(single.words, every, count, draw, with_it=among)
            grammar = grammar_of(choices, lexicon, context.manifest.path)
            truth = grammar.parse(single.words)
            part = one.name if among else f"{one.name}, not among the choices"
            trials += [
                SoundTrial(
                    part,
                    one.speaker,
                    level_name(db),
                    single.words,
                    truth,
                    grammar,
                    partial(at, db),
                    beside=number % plan.beside == 0,
                )
                for db in context.few(plan.levels_db)
            ]
    return trials


@cache
def _of(one: SinglesSet, single: Single) -> Signal:
    return sound_of(one, single)
