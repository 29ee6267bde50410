"""Talk addressed to nobody, through the real ear: it cuts the talk where people pause, and each piece is judged."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.core.dialogue.states import State
from assistant.core.values.events import Heard
from assistant.hearing.baynoise import bay_noise
from assistant.hearing.sound import RATE
from assistant.hearing_bench.measurements import HeardUtterance
from assistant.hearing_bench.mixing import at_level, at_power, to_samples
from assistant.hearing_bench.ours import marked
from assistant.hearing_bench.rows.people import heard_recording
from assistant.hearing_bench.scoring import Hearing
from assistant.hearing_bench.streaming import Attentive
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.hearing_bench.mixing import Signal
    from assistant.hearing_bench.ours import Ours
    from assistant.hearing_bench.rows.context import RowContext

PART = "talk to nobody, through the ear"
"""Row of the report."""

CLOSE, FAR = "near", "15 dB farther"
"""Columns: somebody at the technician's place, or across the bay."""

FARTHER_DB = 15.0
"""How much quieter the second is at the microphone."""

PAUSE_S = (0.3, 1.5)
"""Shortest and longest pause between two things that are said, s."""

NOISE_DB = -42.0
"""Level of the noise, dB relative to full scale: 20 dB under somebody near."""

SAID_AT_ONE = 24
"""Things that are said while the assistant listens at one question."""


def live_talk(context: RowContext, ours: Ours) -> list[HeardUtterance]:
    """Hear people and synthetic voices talk at one question and state after another."""
    plan = context.plan.nobody
    found: list[HeardUtterance] = []
    talk = _talk(context)
    for question, state in plan.at:
        request = context.made.request(question, State(state))
        grammar = context.made.grammars.request(request)
        ours.prepare(grammar)
        said = [next(talk) for _ in range(context.shared(SAID_AT_ONE))]
        for condition, under_db in ((CLOSE, 0.0), (FAR, FARTHER_DB)):
            ear = Attentive(ours.recogniser, context.made.grammars, DEFAULT_THRESHOLDS)
            ear.listen(request)
            draw = context.draw("live", question, state)
            level_db = context.manifest.mixing.speech_dbfs - under_db
            for words, speech in said:
                if words and grammar.parse(words) is not None:
                    continue
                pause = np.zeros(round(draw.uniform(*PAUSE_S) * RATE))
                sound = np.concatenate([at_level(speech, level_db), pause])
                kind = draw.choice(context.manifest.mixing.noises)
                noise = bay_noise(kind, len(sound) / RATE, RATE, draw.randrange(2**31))
                ear.feed(to_samples(sound + at_power(noise, NOISE_DB)[: len(sound)]))
            for event in ear.events:
                result = event.result if isinstance(event, Heard) else None
                heard = Hearing(None, result, result is not None, event.confidence, 0.0, 0.0, event.words)
                found.append(HeardUtterance(ours.name, PART, "people", condition, marked(heard, grammar)))
    return found


def _talk(context: RowContext) -> Iterator[tuple[str, Signal]]:
    """People's orders, or remarks of synthetic voices where there are none, over and over; their words if known."""
    orders = context.people_orders()
    voices = context.made.voices(context.plan.nobody.voices)
    remarks = [
        words
        for other in context.manifest.other
        if other.name in context.plan.nobody.of
        for _, words, _ in other.sentences
    ]
    while True:
        for number in range(max(len(orders[0]) if orders else 0, len(remarks))):
            if orders:
                yield "", heard_recording(orders[0][number % len(orders[0])].file)
            if voices and (number % 2 or not orders):
                words = remarks[number % len(remarks)]
                yield words, context.made.say(voices[number % len(voices)], words)
        if not orders and not voices:
            return
