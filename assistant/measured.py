"""Measured figures that code uses, read from one file, ``hearing/confidence.json``.

``python -m assistant.acoustic.calibrate`` writes the file with the formula for the confidence of an answer, the
limits chosen from measured curves, and the date and sound of the measurement.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

from assistant import files
from assistant.core.values.thresholds import Thresholds
from assistant.errors import UsageProblem

FILE = Path(__file__).resolve().parent / "hearing" / "confidence.json"


@dataclass(frozen=True)
class Calibration:
    """Logistic regression that makes one probability of the measures of a recognition.

    Attributes:
        intercept: Log-odds of being right if every measure is at its mean.
        weights: Change of the log-odds for a change by one standard deviation, by the measure's name.
        means: Mean of each measure in the fit, used for an unknown one.
        deviations: Standard deviation of each.
        reject_below: Probability below which an answer counts as not understood.
        ask_below: Probability below which an answer must be affirmed.
        about: Date, sound and model of the measurement, for people.
    """

    intercept: float
    weights: Mapping[str, float]
    means: Mapping[str, float]
    deviations: Mapping[str, float]
    reject_below: float
    ask_below: float
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
                float(body["reject_below"]),
                float(body["ask_below"]),
                body["about"],
            )
        except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
            raise UsageProblem(
                f"The file {path} that belongs to bay-assistant is missing or damaged. Install bay-assistant again."
            ) from error
        if not (0 < made.reject_below <= made.ask_below < 1) or min(made.deviations.values(), default=0) <= 0:
            raise UsageProblem(f"The limits in {path} are out of order. Install bay-assistant again.")
        return made

    def probability(self, measures: Mapping[str, float]) -> float:
        """Probability that an answer with these measures is right, 0 to 1."""
        odds = self.intercept
        for name, weight in self.weights.items():
            value = measures.get(name, self.means[name])
            odds += weight * (value - self.means[name]) / self.deviations[name]
        return 1 / (1 + math.exp(-max(-50.0, min(50.0, odds))))


CALIBRATION = Calibration.read()
"""The delivered calibration."""

DEFAULT_THRESHOLDS = Thresholds(CALIBRATION.reject_below, CALIBRATION.ask_below)
"""The limits of a dialogue with the delivered calibration."""
