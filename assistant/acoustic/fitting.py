"""The fit of the confidence: logistic regression, by some of the voices for the others.

Newton's method (iteratively reweighted least squares; Hastie, Tibshirani and Friedman, The Elements of Statistical
Learning, 4.4.1) with a small ridge, on utterances of which some alternative is a phrase of the grammar; the manifest
says whether the best one is right.
Measures have knots (piecewise linear terms), because a measure says little beyond some value.
The voices are split into parts, and each part is judged by the fit on the others, so no reported figure comes from a
fitted voice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from assistant.acoustic.in_noise import Floats, HeardInNoise
from assistant.errors import UsageProblem
from assistant.hearing.confidence import OF_THE_VOICE
from assistant.hearing.voice_so_far import NEW_VOICE
from assistant.measured import Calibration, term

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence


RIDGE = 3.0
"""Weight of the squared coefficients in the fit, as if so many utterances contradicted each."""

PARTS = 6
"""Parts of the voices."""

TERMS = (
    "ahead", "ahead>1", "ahead>3.2", "sure", "sure>0", "fit", "fit>-3", "fit>-1.5", "explained", "behind",
    "behind>2.5", "inside", "worst-three", "worst-word", "edits", "phones", "pace-squared", "snr", "beyond",
    "voice-fit", "voice-sure",
)  # fmt: skip
"""Terms of the formula (`assistant.measured.term`); the knots are near fifths of the development utterances."""

SHARES: Mapping[str, float] = {"near misses": 0.06, "other speech": 0.12, "noise": 0.02}
"""Weight of a group of speech that must be refused, as a share of the weight of all answers: about what reaches the
judgement of a live session beside answers (our estimate; there is no measurement of it)."""


def parts_of(heard: Iterable[HeardInNoise], count: int = PARTS) -> list[frozenset[str]]:
    """So many sets of voices with about equally many utterances: the largest voice first, each to the smallest set."""
    counts: dict[str, int] = {}
    for one in heard:
        counts[one.voice] = counts.get(one.voice, 0) + 1
    sets: list[set[str]] = [set() for _ in range(min(count, max(2, len(counts))))]
    sizes = [0] * len(sets)
    for voice in sorted(counts, key=lambda name: (-counts[name], name)):
        smallest = sizes.index(min(sizes))
        sets[smallest].add(voice)
        sizes[smallest] += counts[voice]
    return [frozenset(one) for one in sets]


def logistic(inputs: Floats, targets: Floats, ridge: float = RIDGE, weights: Floats | None = None) -> Floats:
    """Coefficients of a logistic regression, the intercept first, by Newton's method.

    Args:
        inputs: One row for each case, standardised measures.
        targets: 1 if the answer was right, else 0.
        ridge: Weight of the squared coefficients, the intercept aside.
        weights: Weight of each case; all the same without.
    """
    design = np.column_stack([np.ones(len(inputs)), inputs])
    counted = np.ones(len(inputs)) if weights is None else weights
    penalty = np.diag([1e-9, *[ridge] * inputs.shape[1]])
    found = np.zeros(design.shape[1])
    for _ in range(100):
        chance = 1 / (1 + np.exp(-np.clip(design @ found, -30, 30)))
        slope = design.T @ (counted * (targets - chance)) - penalty @ found
        curve = (design * (counted * chance * (1 - chance))[:, None]).T @ design + penalty
        step = np.linalg.solve(curve, slope)
        found = found + step
        if float(np.max(np.abs(step))) < 1e-8:
            break
    return np.asarray(found, np.float64)


def case_weights(cases: Sequence[HeardInNoise]) -> Floats:
    """Weight of each case: answers count once, the groups of `SHARES` have theirs, whatever their number."""
    answers = sum(not one.other for one in cases)
    found = np.ones(len(cases))
    for about, share in SHARES.items():
        group = np.array([one.other and one.about == about for one in cases], bool)
        if group.any():
            found[group] = min(1.0, share * answers / int(group.sum()))
    return found


def with_voices(heard: Sequence[HeardInNoise], means: Mapping[str, float]) -> list[HeardInNoise]:
    """The same, each with what was known of its voice from the right answers before it."""
    voices = {one.voice: NEW_VOICE for one in heard}
    found = []
    for one in heard:
        if not one.phrase:
            found.append(one)
            continue
        voice = voices[one.voice]
        offsets = {f"voice-{name}": voice.offset(name) for name in OF_THE_VOICE}
        found.append(replace(one, measures=one.measures | offsets))
        if one.right:
            voices[one.voice] = voice.after(
                {name: one.measures[name] - means[name] for name in means if name in one.measures}
            )
    return found


def voice_means(heard: Iterable[HeardInNoise]) -> dict[str, float]:
    """Means of the measures of a voice over all right answers."""
    right = [one for one in heard if one.phrase and one.right]
    return {
        name: round(float(np.mean([one.measures[name] for one in right])), 4)
        for name in OF_THE_VOICE
        if right and all(name in one.measures for one in right)
    }


def fit(heard: Iterable[HeardInNoise], names: Sequence[str] = TERMS) -> Calibration:
    """The calibration for these utterances, still without limits.

    Raises:
        UsageProblem: They are all right, or all wrong, or too few.
    """
    everything = list(heard)
    means_of_voices = voice_means(everything)
    cases = [one for one in with_voices(everything, means_of_voices) if one.phrase]
    targets = np.array([one.right for one in cases], np.float64)
    if len(cases) < 10 or not 0 < targets.sum() < len(cases):
        raise UsageProblem(
            "There are too few utterances to calibrate with, or none of them is right or wrong."
        )
    table = np.array([[_value(name, one.measures) for name in names] for one in cases])
    known = ~np.isnan(table)
    counts = np.maximum(1, known.sum(axis=0))
    means = np.where(known, table, 0).sum(axis=0) / counts
    table = np.where(known, table, means)
    deviations = np.maximum(table.std(axis=0), 1e-6)
    weights = logistic((table - means) / deviations, targets, weights=case_weights(cases))
    return Calibration(
        round(float(weights[0]), 4),
        {name: round(float(value), 4) for name, value in zip(names, weights[1:], strict=True)},
        {name: round(float(value), 4) for name, value in zip(names, means, strict=True)},
        {name: round(float(value), 6) for name, value in zip(names, deviations, strict=True)},
        means_of_voices,
        {},
        {},
    )


def _value(name: str, measures: Mapping[str, float]) -> float:
    value = term(name, measures)
    return float("nan") if value is None else value


@dataclass(frozen=True)
class Stated:
    """An utterance with its stated probability; 0 if no phrase was heard."""

    heard: HeardInNoise
    probability: float


def stated(calibration: Calibration, heard: Sequence[HeardInNoise]) -> list[Stated]:
    """Utterances with the probabilities that a calibration states."""
    known = with_voices(heard, calibration.voice)
    return [Stated(one, calibration.probability(one.measures) if one.phrase else 0.0) for one in known]


def across(heard: Sequence[HeardInNoise], names: Sequence[str] = TERMS) -> list[Stated]:
    """Each part of the voices, judged by the fit on the others."""
    found: list[Stated] = []
    for judged in parts_of(heard):
        calibration = fit([h for h in heard if h.voice not in judged], names)
        found += stated(calibration, [h for h in heard if h.voice in judged])
    return found
