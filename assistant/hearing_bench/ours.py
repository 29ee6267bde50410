"""Our own recogniser with one model, as a session uses it: strict graph, judge, and the dialogue's limits.

Everything that a measurement knows about the way from sound to an answer is here.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from assistant.hearing.confidence import evidence_in
from assistant.hearing.judge import judge
from assistant.hearing.recogniser import Recogniser
from assistant.hearing.sound import RATE
from assistant.hearing_bench.scoring import Hearing
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.core.values.result import Result
    from assistant.grammar.step_grammar import StepGrammar
    from assistant.hearing.sound import Samples


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
        speech, evidence = evidence_in(samples)
        begun = time.thread_time()
        recognition = self.recogniser.hear(samples, grammar)
        judged = judge(recognition, grammar, DEFAULT_THRESHOLDS, speech=speech, evidence=evidence)
        took = time.thread_time() - begun
        return Hearing(
            truth, judged.result, judged.accepted, judged.confidence, took, len(samples) / RATE, judged.words
        )
