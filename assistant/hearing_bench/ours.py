"""Our own recogniser with one model, as a session uses it: strict graph, judge, and the dialogue's limits.

Everything that a measurement knows about the way from sound to an answer is here.
"""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING

from assistant.core.values.answer_kind import AnswerKind, kind_of
from assistant.hearing.recogniser import Recogniser
from assistant.hearing.sound import RATE
from assistant.hearing.whole import hear_whole
from assistant.hearing_bench.scoring import Hearing
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.core.values.result import Result
    from assistant.grammar.step_grammar import StepGrammar
    from assistant.hearing.sound import Samples

READ_BACK = frozenset({AnswerKind.VERDICT, AnswerKind.READING, AnswerKind.SIGNS})
"""Kinds of answers that are always read back and must be affirmed."""


class Ours:
    """One of our models.

    Args:
        path: Model directory, checked by `find_model`.
        name: Name in the report.
    """

    def __init__(self, path: Path, name: str) -> None:
        self.path = path
        self.name = name
        self.recogniser = Recogniser(path)

    def prepare(self, grammar: StepGrammar) -> None:
        """Open a grammar.

        Raises:
            ModelProblem: The model lacks a word that the grammar needs.
        """
        self.recogniser.prepare(grammar)

    def hear(self, samples: Samples, grammar: StepGrammar, truth: Result | None) -> Hearing:
        """Hear one utterance; its time is that of the processor, so that nothing beside it counts."""
        begun = time.thread_time()
        judged, _ = hear_whole(self.recogniser, grammar, samples, DEFAULT_THRESHOLDS)
        took = time.thread_time() - begun
        made = Hearing(
            truth,
            judged.result,
            judged.accepted,
            judged.confidence,
            took,
            len(samples) / RATE,
            judged.words,
        )
        return marked(made, grammar)


def marked(hearing: Hearing, grammar: StepGrammar) -> Hearing:
    """The same with what the dialogue would do with it: ask first, or take it without a yes."""
    if hearing.result is None:
        return hearing
    kind = kind_of(hearing.result, grammar.request.controls)
    sure = hearing.confidence >= DEFAULT_THRESHOLDS.of(kind).sure_from
    return replace(hearing, sure=sure, silent=hearing.accepted and sure and kind not in READ_BACK)
