"""Measured figures that code uses, read from one file, ``hearing/confidence.json``.

``python -m assistant.acoustic.calibrate`` writes the file with the formula for the confidence of an answer, the
limits of each kind of answer, chosen from measured curves and prices, and the date and sound of the measurement.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self, TypeAlias

from assistant import files
from assistant.core.values.answer_kind import AnswerKind, KindLimits
from assistant.core.values.thresholds import Thresholds
from assistant.errors import UsageProblem

FILE = Path(__file__).resolve().parent / "hearing" / "confidence.json"

Node: TypeAlias = "float | tuple[int, float, Node, Node]"
"""A tree: a number, or the place of a measure, a threshold, and the trees below it and from it on."""

DEEPEST = 8
"""Most splits from the root of a tree to a leaf."""


VOICE_ANSWERS = "voice-answers"
"""Measure: accepted answers of this voice before, 0 for a new one."""


@dataclass(frozen=True)
class Forest:
    """Boosted trees.

    Attributes:
        intercept: Log-odds of being right before any tree.
        trees: The trees, whose numbers are added to the log-odds.
    """

    intercept: float
    trees: Sequence[Node]

    def probability(self, values: Sequence[float]) -> float:
        """Probability of being right, 0 to 1, for the values of the measures in their order."""
        odds = self.intercept
        for tree in self.trees:
            node = tree
            while not isinstance(node, float):
                place, threshold, below, above = node
                node = above if values[place] >= threshold else below
            odds += node
        return 1 / (1 + math.exp(-max(-50.0, min(50.0, odds))))


@dataclass(frozen=True)
class Calibration:
    """Boosted trees that make one probability of the measures of a recognition.

    A voice that has been heard before tells more than any measure of the answer; with one forest for both, what it
    tells would blur the judgement of new voices.

    Attributes:
        measures: The measures that the trees look at, with the value that stands for an unknown one.
        new: The trees for a voice that nothing is known of.
        known: The trees for a voice that has answered before.
        voice: Means of measures over the right answers of all voices, with which a voice is compared.
        limits: For each kind of answer the probability below which it counts as not understood, and the one below
            which it must be affirmed.
        about: Date, sound and model of the measurement, prices, and what the limits cost, for people.
    """

    measures: Mapping[str, float]
    new: Forest
    known: Forest
    voice: Mapping[str, float]
    limits: Mapping[str, tuple[float, float]]
    about: Mapping[str, Any]

    @classmethod
    def read(cls, path: Path = FILE) -> Self:
        """Read the file that `calibrate` writes.

        Raises:
            UsageProblem: It is missing or damaged.
        """
        try:
            body = json.loads(files.read_text(path, files.SETTINGS))
            measures = {str(name): float(value) for name, value in body["measures"].items()}
            made = cls(
                measures,
                _forest(body["new"], len(measures)),
                _forest(body["known"], len(measures)),
                {name: float(value) for name, value in body["voice"].items()},
                {kind.value: _pair(body["limits"][kind.value]) for kind in AnswerKind},
                body["about"],
            )
        except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
            raise UsageProblem(
                f"The file {path} that belongs to bay-assistant is missing or damaged. Install bay-assistant again."
            ) from error
        ordered = all(0 < low <= high < 1 for low, high in made.limits.values())
        if not ordered:
            raise UsageProblem(f"The limits in {path} are out of order. Install bay-assistant again.")
        return made

    @property
    def reject_below(self) -> float:
        """Probability below which an ordinary answer counts as not understood."""
        return self.limits[AnswerKind.RESULT.value][0]

    @property
    def ask_below(self) -> float:
        """Probability below which an ordinary answer must be affirmed."""
        return self.limits[AnswerKind.RESULT.value][1]

    def by_kind(self) -> tuple[KindLimits, ...]:
        """The limits of all kinds of answers."""
        return tuple(KindLimits(kind, *self.limits[kind.value]) for kind in AnswerKind)

    def probability(self, measures: Mapping[str, float]) -> float:
        """Probability that an answer with these measures is right, 0 to 1."""
        values = [measures.get(name, usual) for name, usual in self.measures.items()]
        return (self.known if measures.get(VOICE_ANSWERS, 0.0) > 0 else self.new).probability(values)


def _forest(body: Any, count: int) -> Forest:
    return Forest(float(body["intercept"]), [_tree(tree, count, DEEPEST) for tree in body["trees"]])


def _tree(body: Any, count: int, depth: int) -> Node:
    if isinstance(body, float | int):
        return float(body)
    place, threshold, below, above = body
    if not depth or not isinstance(place, int) or not 0 <= place < count:
        raise ValueError("a tree is too deep, or looks at a measure that is not there")
    return place, float(threshold), _tree(below, count, depth - 1), _tree(above, count, depth - 1)


def _pair(values: Any) -> tuple[float, float]:
    low, high = values
    return float(low), float(high)


CALIBRATION = Calibration.read()
"""The delivered calibration."""

DEFAULT_THRESHOLDS = Thresholds(CALIBRATION.reject_below, CALIBRATION.ask_below, CALIBRATION.by_kind())
"""The limits of a dialogue with the delivered calibration."""
