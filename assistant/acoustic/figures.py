"""The results of a calibration on voices outside the fit: shares, quality of the probabilities, tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.acoustic.in_noise import CONDITIONS
from assistant.hearing_bench import scoring

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from assistant.acoustic.fitting import Stated
    from assistant.hearing_bench.scoring import Reliability
    from assistant.measured import Calibration


def tally(judged: Iterable[Stated], reject: float, ask: float) -> dict[str, float]:
    """Shares in per cent: of the grammar's phrases right, wrong and asked again; wrong and other speech accepted."""
    everything = list(judged)
    phrases = [one for one in everything if not one.heard.other]
    others = [one for one in everything if one.heard.other]

    def share(among: Sequence[Stated], good: Callable[[Stated], bool]) -> float:
        return round(100 * sum(map(good, among)) / max(1, len(among)), 1)

    return {
        "utterances": len(phrases),
        "right": share(phrases, lambda j: j.heard.right and j.probability >= reject),
        "wrong": share(phrases, lambda j: not j.heard.right and j.probability >= reject),
        "asked again": share(phrases, lambda j: j.probability < reject),
        "right without affirming": share(phrases, lambda j: j.heard.right and j.probability >= ask),
        "wrong without affirming": share(phrases, lambda j: not j.heard.right and j.probability >= ask),
        "other speech": len(others),
        "other accepted": share(others, lambda j: j.probability >= reject),
        "other without affirming": share(others, lambda j: j.probability >= ask),
    }


def quality(judged: Iterable[Stated]) -> dict[str, float]:
    """Of the stated probabilities: log loss, Brier score, area under the curve, calibration error.

    Brier score and calibration error as in `assistant.hearing_bench.scoring`.
    """
    cases = [one for one in judged if one.heard.phrase]
    chance = np.clip(np.array([one.probability for one in cases]), 1e-6, 1 - 1e-6)
    right = np.array([one.heard.right for one in cases], np.float64)
    loss = -float(np.mean(right * np.log(chance) + (1 - right) * np.log(1 - chance)))
    ranks = np.argsort(np.argsort(chance, kind="stable"), kind="stable") + 1.0
    positives = right.sum()
    area = (ranks[right == 1].sum() - positives * (positives + 1) / 2) / max(
        1.0, positives * (len(right) - positives)
    )
    found = trust(cases)
    return {
        "log loss": round(loss, 4),
        "Brier score": round(found.brier, 4),
        "area under the curve": round(float(area), 4),
        "calibration error": round(found.calibration_error, 4),
    }


def trust(judged: Iterable[Stated]) -> Reliability:
    """How far the stated probabilities are those of being right, as `bench hearing` counts it."""
    return scoring.reliability([(j.probability, j.heard.right) for j in judged if j.heard.phrase])


def reliability(judged: Iterable[Stated]) -> list[tuple[float, float, int]]:
    """For each bin that is not empty: mean stated probability, share that was right, number."""
    return [(one.confidence, one.right, one.count) for one in trust(judged).bins if one.count]


def curve(judged: Sequence[Stated]) -> list[tuple[float, dict[str, float]]]:
    """The trade-off for a range of limits."""
    return [
        (limit, tally(judged, limit, limit))
        for limit in (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98)
    ]


def report(judged: Sequence[Stated], made: Calibration) -> str:
    """All of it as Markdown; every figure is of voices that the fit had not heard."""
    lines = ["| sound | utterances | right | wrong | asked again | right / wrong without affirming |"]
    lines[0] += " other speech: accepted / without affirming |"
    lines.append("|---|---|---|---|---|---|---|")
    groups = [(name, [j for j in judged if j.heard.condition == name]) for name in CONDITIONS]
    groups += [
        (about, [j for j in judged if j.heard.about == about])
        for about in sorted({j.heard.about for j in judged})
    ]
    groups.append(("all", list(judged)))
    for name, group in groups:
        t = tally(group, made.reject_below, made.ask_below)
        lines.append(
            f"| {name} | {t['utterances']:.0f} | {t['right']} | {t['wrong']} | {t['asked again']} | "
            f"{t['right without affirming']} / {t['wrong without affirming']} | "
            f"{t['other accepted']} / {t['other without affirming']} (of {t['other speech']:.0f}) |"
        )
    lines += ["", "| limit | right | wrong | asked again | other speech accepted |"]
    lines.append("|---|---|---|---|---|")
    for limit, t in curve(judged):
        lines.append(
            f"| {limit} | {t['right']} | {t['wrong']} | {t['asked again']} | {t['other accepted']} |"
        )
    lines += ["", "| kind of answer | taken from | sure from | right answers lost | wrong ones taken |"]
    lines.append("|---|---|---|---|---|")
    for kind, (low, high) in made.limits.items():
        t = tally(judged, low, high)
        lines.append(f"| {kind} | {low} | {high} | {t['asked again']} | {t['wrong']} |")
    lines += ["", "| stated | right | number |", "|---|---|---|"]
    lines += [f"| {said:.2f} | {found:.2f} | {count} |" for said, found, count in reliability(judged)]
    lines += ["", ", ".join(f"{name} {value}" for name, value in quality(judged).items())]
    return "\n".join(lines) + "\n"
