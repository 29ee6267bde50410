"""Measured figures that code uses, read from one file, ``hearing/confidence.json``.

``python -m assistant.acoustic.calibrate`` writes the file with the formula for the confidence of an answer, the
limits of each kind of answer, chosen from measured curves and prices, and the date and sound of the measurement.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

from assistant import files
from assistant.core.values.answer_kind import AnswerKind, KindLimits
from assistant.core.values.thresholds import Thresholds
from assistant.errors import UsageProblem

FILE = Path(__file__).resolve().parent / "hearing" / "confidence.json"

_TERM = re.compile(r"([a-z-]+)(?:([>*])(.+))?")


def term(name: str, measures: Mapping[str, float]) -> float | None:
    """A term of the formula: a measure ("fit"), how far it is over a knot ("fit>-1.5"), or a product ("fit*phones").

    Returns:
        None if a measure of it is unknown.
    """
    parts = _TERM.fullmatch(name)
    if parts is None or parts[1] not in measures:
        return None
    value = measures[parts[1]]
    if parts[2] == ">":
        return max(0.0, value - float(parts[3]))
    if parts[2] == "*":
        other = measures.get(parts[3])
        return None if other is None else value * other
    return value


@dataclass(frozen=True)
class Calibration:
    """Logistic regression that makes one probability of the measures of a recognition.

    Attributes:
        intercept: Log-odds of being right if every term is at its mean.
        weights: Change of the log-odds for a change by one standard deviation, by the term's name (`term`).
        means: Mean of each term in the fit, used for an unknown one.
        deviations: Standard deviation of each.
        voice: Means of measures over the right answers of all voices, with which a voice is compared.
        limits: For each kind of answer the probability below which it counts as not understood, and the one below
            which it must be affirmed.
        about: Date, sound and model of the measurement, prices, and what the limits cost, for people.
    """

    intercept: float
    weights: Mapping[str, float]
    means: Mapping[str, float]
    deviations: Mapping[str, float]
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
            names = list(body["weights"])
            made = cls(
                float(body["intercept"]),
                {name: float(body["weights"][name]) for name in names},
                {name: float(body["means"][name]) for name in names},
                {name: float(body["deviations"][name]) for name in names},
                {name: float(value) for name, value in body["voice"].items()},
                {kind.value: _pair(body["limits"][kind.value]) for kind in AnswerKind},
                body["about"],
            )
        except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
            raise UsageProblem(
                f"The file {path} that belongs to bay-assistant is missing or damaged. Install bay-assistant again."
            ) from error
        ordered = all(0 < low <= high < 1 for low, high in made.limits.values())
        if not ordered or min(made.deviations.values(), default=1.0) <= 0:
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
        odds = self.intercept
        for name, weight in self.weights.items():
            value = term(name, measures)
            if value is not None:
                odds += weight * (value - self.means[name]) / self.deviations[name]
        return 1 / (1 + math.exp(-max(-50.0, min(50.0, odds))))


def _pair(values: Any) -> tuple[float, float]:
    low, high = values
    return float(low), float(high)


CALIBRATION = Calibration.read()
"""The delivered calibration."""

DEFAULT_THRESHOLDS = Thresholds(CALIBRATION.reject_below, CALIBRATION.ask_below, CALIBRATION.by_kind())
"""The limits of a dialogue with the delivered calibration."""
