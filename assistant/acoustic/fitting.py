"""The fit of the confidence: small boosted trees, by some of the voices for the others.

They are fitted to utterances of which some alternative is a phrase of the grammar; the manifest says whether the best
one is right. The voices are split into parts, and each part is judged by the fit on the others, so no reported figure
comes from a fitted voice. Logistic regression with knots did worse on the same utterances (log loss 0.39 against
0.36).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Self

import numpy as np

from assistant.acoustic.boosting import DEFAULT_GROWTH, Growth, boosted
from assistant.acoustic.in_noise import Floats, HeardInNoise
from assistant.errors import UsageProblem
from assistant.hearing.confidence import OF_THE_VOICE, of_voice
from assistant.hearing.voice_so_far import NEW_VOICE
from assistant.measured import VOICE_ANSWERS, Calibration, Forest, Node

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence


PARTS = 6
"""Parts of the voices."""

SIGNS: Mapping[str, int] = {
    "ahead": 1, "ahead-each": 1, "behind": -1, "beyond": -1, "clear": 0, "edits": -1, "english": 1,
    "english-each": 1, "explained": 1, "extra": -1, "fit": 1, "gap": 0, "inside": -1, "least-sure": 1, "over-all": 1,
    "pace": 0, "phones": 0, "snr": 0, "speech": 1, "sure": 1, "voice-answers": 0, "voice-fit": 0,
    "voice-sure": 0, "voiced": 1, "worst": -1, "worst-three": -1, "worst-two": -1, "worst-word": -1,
}  # fmt: skip
"""The measures, each with the direction in which it can only make an answer likelier: 1 up, -1 down, 0 either."""

SHARES: Mapping[str, float] = {
    "near misses": 0.15,
    "near misses by people": 0.15,
    "words, not among the choices": 0.1,
    "people, cut out, not among the choices": 0.1,
    "other speech": 0.12,
    "noise": 0.02,
}
"""Weight of a group of speech that must be refused, as a share of the weight of all answers.

Our estimate of what is said in a bay while the assistant listens; nobody has measured it: of ten utterances six are
answers as the grammar has them, two are nearly so (an answer in other words, broken off, or put right, and what sounds
like one by chance), one or two are words of no answer, and one is talk to somebody else."""


WEIGHTS: Mapping[str, float] = {"people, cut out": 0.5}
"""Weight of each answer of a group, others 1: words cut out of read sentences stand for voices and words that nobody
trained, but are hastier than answers."""


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


def case_weights(cases: Sequence[HeardInNoise]) -> Floats:
    """Weight of each case: of answers as `WEIGHTS` says; groups of `SHARES` have theirs, whatever their number."""
    answers = sum(not one.other for one in cases)
    found = np.array([1.0 if one.other else WEIGHTS.get(one.about, 1.0) for one in cases])
    for about, share in SHARES.items():
        group = np.array([one.other and one.about == about for one in cases], bool)
        if group.any():
            found[group] = min(1.0, share * answers / int(group.sum()))
    return found


def with_voices(heard: Sequence[HeardInNoise], means: Mapping[str, float]) -> list[HeardInNoise]:
    """The same, each with what was known of its voice from the right answers before it."""
    voices = {one.voice: NEW_VOICE for one in heard}
    found = list(heard)
    # In any order but that of the manifests, in which what must be refused comes last.
    for at in np.random.default_rng(1).permutation(len(heard)):
        one = heard[at]
        if not one.phrase:
            continue
        voice = voices[one.voice]
        found[at] = replace(one, measures=one.measures | of_voice(voice))
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


def table_of(cases: Sequence[HeardInNoise], names: Sequence[str]) -> tuple[Floats, dict[str, float]]:
    """The measures of the cases, one row each, and the median of each measure, which stands for an unknown one."""
    table = np.array([[one.measures.get(name, np.nan) for name in names] for one in cases], np.float64)
    usual = {}
    for column, name in enumerate(names):
        known = table[~np.isnan(table[:, column]), column]
        nothing = not known.size or name.startswith(
            "voice-"
        )  # a voice of which nothing is known is like all others
        usual[name] = 0.0 if nothing else round(float(np.median(known)), 4)
        table[np.isnan(table[:, column]), column] = usual[name]
    return table, usual


def fit(
    heard: Iterable[HeardInNoise], names: Sequence[str] = tuple(SIGNS), growth: Growth = DEFAULT_GROWTH
) -> Calibration:
    """The calibration for these utterances, still without limits.

    Raises:
        UsageProblem: They are all right, or all wrong, or too few.
    """
    everything = list(heard)
    means = voice_means(everything)
    first = [one for one in everything if one.phrase]
    later = [one for one in with_voices(everything, means) if one.phrase]
    if len(first) < 10 or not 0 < sum(one.right for one in first) < len(first):
        raise UsageProblem(
            "There are too few utterances to calibrate with, or none of them is right or wrong."
        )
    _, usual = table_of(first, names)
    forests = []
    for cases, known in ((first, False), (later, True)):
        table, _ = table_of(cases, names)
        if not known:
            table[:, [name.startswith("voice-") for name in names]] = 0.0
        targets = np.array([one.right for one in cases], np.float64)
        signs = [SIGNS.get(name, 0) for name in names]
        begin, trees = boosted(table, targets, case_weights(cases), signs, growth)
        forests.append(Forest(round(begin, 4), trees))
    return Calibration(usual, forests[0], forests[1], means, {}, {})


@dataclass(frozen=True)
class Stated:
    """An utterance with its stated probability; 0 if no phrase was heard."""

    heard: HeardInNoise
    probability: float


def stated(calibration: Calibration, heard: Sequence[HeardInNoise]) -> list[Stated]:
    """Utterances with the probabilities that a calibration states."""
    return [Stated(one, calibration.probability(one.measures) if one.phrase else 0.0) for one in heard]


def across(
    heard: Sequence[HeardInNoise], names: Sequence[str] = tuple(SIGNS), growth: Growth = DEFAULT_GROWTH
) -> tuple[list[Stated], list[Stated]]:
    """Each part of the voices, judged by the fit on the others.

    Returns:
        Every utterance as the first of its voice; and with what its voice said before, if it said anything.
    """
    new: list[Stated] = []
    known: list[Stated] = []
    for judged in parts_of(heard):
        calibration = fit([h for h in heard if h.voice not in judged], names, growth)
        these = [h for h in heard if h.voice in judged]
        new += stated(calibration, these)
        later = with_voices(these, calibration.voice)
        known += stated(calibration, [h for h in later if h.measures.get(VOICE_ANSWERS, 0.0) > 0])
    return new, known


@dataclass(frozen=True)
class Softening:
    """What makes stated probabilities no surer than they were on voices outside the fit: a slope and a shift of the
    log-odds (Platt, "Probabilistic outputs for support vector machines", 1999).
    """

    slope: float
    shift: float

    @classmethod
    def of(cls, judged: Sequence[Stated]) -> Self:
        """Fitted to judged utterances by Newton's method."""
        cases = [one for one in judged if one.heard.phrase]
        odds = _log_odds(np.array([one.probability for one in cases]))
        targets = np.array([one.heard.right for one in cases], np.float64)
        weights = case_weights([one.heard for one in cases])
        design = np.column_stack([odds, np.ones(len(odds))])
        found = np.array([1.0, 0.0])
        for _ in range(50):
            chance = 1 / (1 + np.exp(-np.clip(design @ found, -30, 30)))
            curve = (design * (weights * chance * (1 - chance))[:, None]).T @ design
            # A ridge towards no change: as if one utterance stood for it.
            slope = design.T @ (weights * (targets - chance)) - (found - [1.0, 0.0])
            found = found + np.linalg.solve(curve + np.eye(2), slope)
        return cls(max(0.1, float(found[0])), float(found[1]))

    def forest(self, made: Forest) -> Forest:
        """The forest with softer trees."""
        return Forest(
            round(made.intercept * self.slope + self.shift, 4),
            [_times(tree, self.slope) for tree in made.trees],
        )

    def judged(self, judged: Sequence[Stated]) -> list[Stated]:
        """The utterances with softer probabilities."""
        found = []
        for one in judged:
            odds = float(_log_odds(np.array(one.probability))) * self.slope + self.shift
            found.append(replace(one, probability=1 / (1 + math.exp(-odds)) if one.heard.phrase else 0.0))
        return found


def _log_odds(chance: Floats) -> Floats:
    within = np.clip(chance, 1e-6, 1 - 1e-6)
    return np.asarray(np.log(within / (1 - within)))


def _times(tree: Node, slope: float) -> Node:
    if isinstance(tree, float):
        return round(tree * slope, 5)
    place, threshold, below, above = tree
    return place, threshold, _times(below, slope), _times(above, slope)
