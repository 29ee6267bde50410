"""The fit of the confidence: logistic regression, on one half of the voices for the other.

Newton's method (iteratively reweighted least squares; Hastie, Tibshirani and Friedman, The Elements of Statistical
Learning, 4.4.1) with a small ridge, on utterances whose words are a phrase of the grammar; the manifest says
whether they are right.
The voices are split into two halves, and each half is judged by the fit on the other, so no reported figure comes
from a fitted voice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.acoustic.in_noise import Floats, HeardInNoise
from assistant.errors import UsageProblem
from assistant.hearing.confidence import MEASURES
from assistant.measured import Calibration

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


RIDGE = 1.0
"""Weight of the squared coefficients in the fit, as if one utterance contradicted each; harmless with hundreds."""


def halves(heard: Iterable[HeardInNoise]) -> tuple[frozenset[str], frozenset[str]]:
    """Two sets of voices with about equally many utterances: the largest voice first, each to the smaller set."""
    counts: dict[str, int] = {}
    for one in heard:
        counts[one.voice] = counts.get(one.voice, 0) + 1
    sets: tuple[set[str], set[str]] = (set(), set())
    sizes = [0, 0]
    for voice in sorted(counts, key=lambda name: (-counts[name], name)):
        smaller = 0 if sizes[0] <= sizes[1] else 1
        sets[smaller].add(voice)
        sizes[smaller] += counts[voice]
    return frozenset(sets[0]), frozenset(sets[1])


def logistic(inputs: Floats, targets: Floats, ridge: float = RIDGE) -> Floats:
    """Coefficients of a logistic regression, the intercept first, by Newton's method.

    Args:
        inputs: One row for each case, standardised measures.
        targets: 1 if the answer was right, else 0.
        ridge: Weight of the squared coefficients, the intercept aside.
    """
    design = np.column_stack([np.ones(len(inputs)), inputs])
    penalty = np.diag([1e-9, *[ridge] * inputs.shape[1]])
    weights = np.zeros(design.shape[1])
    for _ in range(100):
        chance = 1 / (1 + np.exp(-np.clip(design @ weights, -30, 30)))
        slope = design.T @ (targets - chance) - penalty @ weights
        curve = (design * (chance * (1 - chance))[:, None]).T @ design + penalty
        step = np.linalg.solve(curve, slope)
        weights = weights + step
        if float(np.max(np.abs(step))) < 1e-8:
            break
    return np.asarray(weights, np.float64)


def fit(heard: Iterable[HeardInNoise], names: Sequence[str] = MEASURES) -> Calibration:
    """The calibration for these utterances, still without limits.

    Raises:
        UsageProblem: They are all right, or all wrong, or too few.
    """
    cases = [one for one in heard if one.phrase]
    targets = np.array([one.right for one in cases], np.float64)
    if len(cases) < 10 or not 0 < targets.sum() < len(cases):
        raise UsageProblem(
            "There are too few utterances to calibrate with, or none of them is right or wrong."
        )
    table = np.array([[one.measures.get(name, np.nan) for name in names] for one in cases])
    known = ~np.isnan(table)
    counts = np.maximum(1, known.sum(axis=0))
    means = np.where(known, table, 0).sum(axis=0) / counts
    table = np.where(known, table, means)
    deviations = np.maximum(table.std(axis=0), 1e-6)
    weights = logistic((table - means) / deviations, targets)
    return Calibration(
        round(float(weights[0]), 4),
        {name: round(float(value), 4) for name, value in zip(names, weights[1:], strict=True)},
        {name: round(float(value), 4) for name, value in zip(names, means, strict=True)},
        {name: round(float(value), 6) for name, value in zip(names, deviations, strict=True)},
        0.5,
        0.9,
        {},
    )


@dataclass(frozen=True)
class Stated:
    """An utterance with its stated probability; 0 if no phrase was heard."""

    heard: HeardInNoise
    probability: float


def across(heard: Sequence[HeardInNoise], names: Sequence[str] = MEASURES) -> list[Stated]:
    """Each half of the voices, judged by the fit on the other half."""
    found = []
    one, other = halves(heard)
    for fitted, judged in ((one, other), (other, one)):
        calibration = fit([h for h in heard if h.voice in fitted], names)
        found += [
            Stated(h, calibration.probability(h.measures) if h.phrase else 0.0)
            for h in heard
            if h.voice in judged
        ]
    return found
