"""Answers of a voice that was never trained on, under hardships: talk, levels, clipping, a room, a telephone."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from assistant.hearing.sound import RATE
from assistant.hearing_bench.hardships import by_telephone, clipped, in_room, padded, quantised
from assistant.hearing_bench.mixing import CLEAN_DB, Mixture, at_level, in_noise
from assistant.hearing_bench.trial import SoundTrial

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.hearing_bench.mixing import Signal
    from assistant.hearing_bench.rows.context import RowContext
    from assistant.hearing_bench.testset import BenchUtterance


def radio(context: RowContext) -> list[SoundTrial]:
    """Answers, words of the dialogue and readings while a radio talks: one voice after another, without a pause."""
    plan = context.plan.radio
    voices = context.made.voices(plan.voices)
    if not voices:
        context.note("Rows with a radio are left out: no voice can speak it here.")
        return []
    trials = []
    for name in plan.of:
        for number, one in enumerate(_answers(context, name, plan.count)):
            talker = voices[number % len(voices)]
            pieces = partial(_said, context, talker, plan.sentences)
            for db in context.few(plan.talk_db):
                sound = partial(
                    context.talked_over, partial(_speech_of, one), pieces, db, f"radio {name} {one.seed}"
                )
                trials.append(
                    SoundTrial(
                        f"{name}, a radio talking",
                        one.speaker,
                        f"{db:g} dB under",
                        one.words,
                        one.truth,
                        one.grammar,
                        sound,
                    )
                )
    return trials


def _speech_of(one: BenchUtterance) -> Signal:
    return one.speech


def _said(context: RowContext, voice: str, sentences: Sequence[str]) -> list[Signal]:
    return [context.made.say(voice, words) for words in sentences]


def _answers(context: RowContext, name: str, count: int) -> list[BenchUtterance]:
    """The first answers of a row for each voice."""
    (part,) = [one for one in context.manifest.answers if one.name == name]
    return context.made.answers(part, context.share * min(1.0, count / part.count))


def hardships(context: RowContext) -> list[SoundTrial]:
    """The same answers very quiet, very loud and clipped, in a long room, and through a telephone."""
    plan = context.plan.hardships
    ways: list[tuple[str, str, Callable[[BenchUtterance], Mixture]]] = []
    ways += [
        ("level", f"{level:g} dBFS", partial(_at_level, context, level))
        for level in context.few(plan.levels_dbfs)
    ]
    ways += [
        ("clipped", f"{over:g} dB over full scale", partial(_clipped, context, over))
        for over in context.few(plan.over_db)
    ]
    ways.append(("room", f"{plan.room_s:g} s", partial(_in_room, context, plan.room_s)))
    ways.append(("telephone", "clean", partial(_by_telephone, context, CLEAN_DB)))
    ways.append(("telephone", "10 dB", partial(_by_telephone, context, 10.0)))
    return [
        SoundTrial(
            f"{plan.of}, {part}",
            one.speaker,
            condition,
            one.words,
            one.truth,
            one.grammar,
            partial(way, one),
        )
        for one in _answers(context, plan.of, plan.count)
        for part, condition, way in ways
    ]


def _framed(context: RowContext, one: BenchUtterance) -> tuple[Signal, float, float]:
    """Speech between silences with the faint noise of a microphone, and where the speech lies, s."""
    mixing = context.manifest.mixing
    made = in_noise(
        one.speech, one.noise, CLEAN_DB, one.seed, lead_s=mixing.lead_s, tail_s=mixing.tail_s, level_db=-30.0
    )
    return made.samples / 2.0**15, made.began_s, made.ended_s


def _at_level(context: RowContext, level_db: float, one: BenchUtterance) -> Mixture:
    """Speech at a mean level; the computer's numbers are as coarse as they are (16 bits)."""
    sound, began, ended = _framed(context, one)
    return Mixture(quantised(sound * 10 ** ((level_db + 30.0) / 20)), began, ended)


def _clipped(context: RowContext, over_db: float, one: BenchUtterance) -> Mixture:
    sound, began, ended = _framed(context, one)
    return Mixture(clipped(sound, over_db), began, ended)


def _in_room(context: RowContext, seconds: float, one: BenchUtterance) -> Mixture:
    mixing = context.manifest.mixing
    dry = padded(one.speech, mixing.speech_dbfs, mixing.lead_s, mixing.tail_s)
    wet = in_room(dry, seconds, one.seed)[: len(dry) + round(seconds * RATE / 2)]
    return Mixture(
        quantised(at_level(wet, mixing.speech_dbfs)),
        mixing.lead_s,
        mixing.lead_s + len(one.speech) / RATE,
    )


def _by_telephone(context: RowContext, ratio_db: float, one: BenchUtterance) -> Mixture:
    made = context.made.mixture(one, ratio_db)
    return replace(made, samples=quantised(by_telephone(made.samples / 2.0**15)))
