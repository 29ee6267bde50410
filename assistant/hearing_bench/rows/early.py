"""Answers that begin before the assistant has ended, through the real ear: their beginning is lost.

A technician who knows the question answers before it is spoken out. What is left of "zero point one ohms" can be
"one ohms", so half an answer must not count as another one. Answers that come just after the end must count.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.core.values.events import Heard
from assistant.hearing.baynoise import bay_noise
from assistant.hearing.sound import RATE
from assistant.hearing_bench.hardships import in_room
from assistant.hearing_bench.measurements import HeardUtterance
from assistant.hearing_bench.mixing import at_level, at_power, rendered_signal, to_samples
from assistant.hearing_bench.ours import marked
from assistant.hearing_bench.scoring import Hearing
from assistant.hearing_bench.streaming import Attentive
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.speaking.voice import Voice

if TYPE_CHECKING:
    from assistant.hearing_bench.mixing import Signal
    from assistant.hearing_bench.ours import Ours
    from assistant.hearing_bench.rows.context import RowContext
    from assistant.hearing_bench.testset import BenchUtterance

OF = ("lamp", "readings")
"""Rows of answers that are spoken so."""

BEGINS_S = (-0.6, -0.4, -0.2, 0.2, 0.4)
"""When they begin, s after the end of the assistant's own speech."""

COUNT = 12
"""Answers of each row and voice."""

OWN_DB = -3.0
"""The assistant's own voice at the microphone, dB over the technician's."""

ROOM_S = 0.6
"""Reverberation time of the bay, s."""

NOISE_DB = 15.0
"""The technician over the noise, dB."""

LEAST_S = 0.25
"""An answer that ends sooner after the assistant is not in the row: nothing of it is left."""

PROMPTS = ("Meter on the battery posts. How many volts?", "Probe the switched side. Is it lit or dark?")


def early(context: RowContext, ours: Ours) -> list[HeardUtterance]:
    """Hear answers that begin before and after the end of the assistant's own voice."""
    prompts = [_prompt(text) for text in PROMPTS]
    found = []
    for part in context.manifest.answers:
        if part.name not in OF:
            continue
        answers = context.made.answers(part, context.share * min(1.0, COUNT / part.count))
        for number, one in enumerate(answers):
            prompt = prompts[number % len(prompts)]
            for begins_s in context.few(BEGINS_S):
                if begins_s + len(one.speech) / RATE < LEAST_S:
                    continue
                heard = _heard(context, ours, one, prompt, begins_s)
                name = f"{part.name}, begun {'before' if begins_s < 0 else 'after'} the assistant's end"
                found.append(HeardUtterance(ours.name, name, one.speaker, f"{abs(begins_s):g} s", heard))
    return found


def _prompt(text: str) -> Signal:
    said = rendered_signal(Voice().render(text))
    return np.trim_zeros(np.where(np.abs(said) < 1e-3, 0.0, said))


def _heard(context: RowContext, ours: Ours, one: BenchUtterance, prompt: Signal, begins_s: float) -> Hearing:
    level_db = context.manifest.mixing.speech_dbfs
    lead = round(1.5 * RATE)
    end, begin = lead + len(prompt), lead + len(prompt) + round(begins_s * RATE)
    sound = np.zeros(max(end, begin + len(one.speech)) + round(1.5 * RATE))
    own = in_room(at_level(prompt, level_db + OWN_DB), ROOM_S, one.seed)[: len(sound) - lead]
    sound[lead : lead + len(own)] += own
    sound[begin : begin + len(one.speech)] += at_level(one.speech, level_db)
    noise = bay_noise(one.noise, len(sound) / RATE, RATE, one.seed)[: len(sound)]
    samples = to_samples(sound + at_power(noise, level_db - NOISE_DB))
    ours.prepare(one.grammar)
    ear = Attentive(ours.recogniser, context.made.grammars, DEFAULT_THRESHOLDS)
    ear.listen(one.grammar.request)
    ear.feed(samples[:lead])
    ear.pause()
    ear.feed(samples[lead:end])
    ear.go_on(one.grammar.request)
    ear.feed(samples[end:])
    event = next(iter(ear.events), None)
    if event is None:
        return Hearing(one.truth, None, False, 0.0, 0.0, len(samples) / RATE)
    result = event.result if isinstance(event, Heard) else None
    hearing = Hearing(one.truth, result, result is not None, event.confidence, 0.0, 0.0, event.words)
    return marked(hearing, one.grammar)
