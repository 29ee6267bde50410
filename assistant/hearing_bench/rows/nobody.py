"""Talk that is addressed to nobody: people's orders and remarks, heard wherever the assistant listens."""

from __future__ import annotations

import zlib
from functools import partial
from typing import TYPE_CHECKING

from assistant.core.dialogue.states import State
from assistant.hearing_bench.rows.people import PEOPLE, heard_recording
from assistant.hearing_bench.trial import SoundTrial, level_name

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.hearing_bench.mixing import Signal
    from assistant.hearing_bench.rows.context import RowContext

PEOPLES = "addressed to nobody, people"
"""Row of people's talk."""

SYNTHETIC = "addressed to nobody, synthetic voices"
"""Row of synthetic talk."""


BESIDE = 3
"""The recogniser for comparison hears one piece in so many."""


def nobody(context: RowContext) -> list[SoundTrial]:
    """Each piece of talk is heard at one question in one state, in turn, at every ratio."""
    plan = context.plan.nobody
    found = context.people_orders()
    talk: list[tuple[str, str, str, Callable[[], Signal]]] = [
        (PEOPLES, PEOPLE, "", partial(heard_recording, order.file)) for order in (found[0] if found else ())
    ]
    voices = context.made.voices(plan.voices)
    for other in context.manifest.other:
        if other.name not in plan.of or not voices:
            continue
        sentences = [words for _, words, _ in other.sentences]
        for number, words in enumerate(sentences[: context.shared(len(sentences))]):
            voice = voices[number % len(voices)]
            talk.append((SYNTHETIC, "synthetic", words, partial(context.made.say, voice, words)))
    asked = [
        context.made.grammars.request(context.made.request(question, State(state)))
        for question, state in plan.at
    ]
    noises = context.manifest.mixing.noises
    trials = []
    for number, (part, speaker, words, speech) in enumerate(talk):
        for turn in range(2):  # at two of the moments at which the assistant listens
            grammar = asked[(number + turn * (len(asked) // 2)) % len(asked)]
            if words and grammar.parse(words) is not None:
                continue
            seed = zlib.crc32(f"{context.manifest.seed} {part} {number} {turn}".encode())
            at = context.noisy(speech, noises[number % len(noises)], seed)
            trials += [
                SoundTrial(
                    part,
                    speaker,
                    level_name(db),
                    words,
                    None,
                    grammar,
                    partial(at, db),
                    beside=number % BESIDE == 0,
                )
                for db in context.few(plan.levels_db)
            ]
    return trials
