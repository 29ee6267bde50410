"""Fits how sure a beginning is: `assistant.hearing.starter.certainty`.

``python -m assistant.hearing_bench.starter.certain --speech FILE`` mixes scenes of `mixing` out of sounds of their own
(developing set), lets the network hear them, and fits a few units to the beginnings that it finds. It also
prints how many true and false ones each limit keeps, on mixtures that were not fitted.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.hearing.starter.certainty import BEFORE, EVERY, LONGEST, WEIGHTS, certainties, traits
from assistant.hearing.starter.network import DELAY, WEIGHTS as NETWORK, FrameSays
from assistant.hearing.starter.phases import Phases, Turning
from assistant.hearing_bench.starter import mixing, training
from assistant.hearing_bench.starter.ranges import DEVELOPING

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Truths = NDArray[np.bool_]
    Numbers = NDArray[np.int64]

SLACK = 20
"""Frames by which a beginning may be dated before the starter turns."""

TESTED = 800
"""Pieces of mixtures that are not fitted but tested."""

AT_ONCE = 100
"""Pieces that the network hears at a time, for the memory; as one to `training.LONGEST` in a row."""

INNER, STEPS, PULL = 16, 800, 1e-3
"""Inner units, steps of Adam, and how strongly weights are pulled towards zero."""

COLUMNS = [1, 2, 3, 4, 6, 7]
"""Of what the network says: those of `assistant.hearing.starter.certainty.columns`."""


@dataclass(frozen=True, eq=False)
class Beginnings:
    """Beginnings, each judged several times.

    Attributes:
        rows: Traits, of shape (judgements, traits).
        true: Whether the starter turned.
        number: Of the beginning that each judgement belongs to.
    """

    rows: Floats
    true: Truths
    number: Numbers

    def first(self) -> Numbers:
        """Rows of the first judgement of each beginning."""
        return np.flatnonzero(np.diff(self.number, prepend=-1))

    def surest(self, shares: Floats) -> tuple[Floats, Truths]:
        """For each beginning the highest of its probabilities, and whether it is a true one."""
        first = self.first()
        return np.maximum.reduceat(shares, first), self.true[first]


def candidates(said: Any, bands: Any, state: Any) -> Beginnings:
    """Beginnings in scenes.

    Args:
        said: What the network says, of shape (scenes, frames, 8), as probabilities.
        bands: Relative bands, of shape (scenes, frames, BANDS).
        state: Truth, of shape (scenes, frames).
    """
    rows: list[Floats] = []
    true: list[bool] = []
    numbers: list[int] = []
    number = 0
    for told, relative, truth in zip(said[:, DELAY:], bands, state[:, DELAY:] == 1, strict=True):
        says = told[:, COLUMNS].astype(np.float64)
        for began, judged in beginnings(says):
            real = truth[began : judged[0] + 1].mean()
            if real < 0.5 and truth[max(0, began - SLACK) : judged[-1] + SLACK].any():
                continue  # at the edge of a start: neither true nor false
            then = max(0, began - BEFORE)
            for at in judged:
                made = traits(relative[then : at + 1].astype(np.float64), says[then : at + 1], began - then)
                rows.append(made)
                true.append(bool(real >= 0.5))
                numbers.append(number)
            number += 1
    return Beginnings(np.array(rows), np.array(true), np.array(numbers))


def beginnings(says: Floats) -> list[tuple[int, list[int]]]:
    """The frame of each beginning, and the frames at which it is judged.

    Args:
        says: `columns` of what the network says.
    """
    phases = Phases()
    found: list[tuple[int, list[int]]] = []
    for frame, (cranks, runs, *rest) in enumerate(says.tolist()):
        change = phases.hear(FrameSays(cranks, runs, *rest), frame)
        if change is not None and change.after is Turning.STARTER:
            found.append((change.at, [frame]))
        elif change is None and phases.now is Turning.STARTER:
            began, judged = found[-1]
            if frame - judged[-1] >= EVERY and frame - began < LONGEST:
                judged.append(frame)
    return found


def fitted(some: Beginnings) -> dict[str, Floats]:
    """The weights: by Adam, with all rows at once; each beginning weighs one, however often it is judged."""
    mean, scale = some.rows.mean(axis=0), some.rows.std(axis=0) + 1e-6
    rows = np.clip((some.rows - mean) / scale, -4, 4)
    shares = (1 / np.bincount(some.number)[some.number]) / (some.number[-1] + 1)
    rng = np.random.default_rng(6)
    now = {
        "first": rng.standard_normal((rows.shape[1], INNER)) / np.sqrt(rows.shape[1]),
        "first_bias": np.zeros(INNER),
        "weights": 0.3 * rng.standard_normal(INNER),
        "bias": np.zeros(1),
    }
    first = {name: np.zeros_like(value) for name, value in now.items()}
    second = {name: np.zeros_like(value) for name, value in now.items()}
    for step in range(1, STEPS + 1):
        slope = _slope(now, rows, some.true, shares)
        pace = 0.02 * (0.02 + 0.98 * 0.5 * (1 + np.cos(np.pi * step / STEPS)))
        for name, one in slope.items():
            first[name] = 0.9 * first[name] + 0.1 * one
            second[name] = 0.99 * second[name] + 0.01 * one**2
            near = np.sqrt(second[name] / (1 - 0.99**step)) + 1e-8
            now[name] = now[name] - pace * first[name] / (1 - 0.9**step) / near
    return {"mean": mean, "scale": scale, **now}


def _slope(now: dict[str, Floats], rows: Floats, true: Truths, shares: Floats) -> dict[str, Floats]:
    """Slope of the mean cross entropy and of the pull."""
    inner = np.tanh(rows @ now["first"] + now["first_bias"])
    wrong = (1 / (1 + np.exp(-(inner @ now["weights"] + now["bias"]))) - true) * shares
    back = wrong[:, None] * now["weights"] * (1 - inner**2)
    return {
        "first": rows.T @ back + PULL * now["first"],
        "first_bias": back.sum(axis=0),
        "weights": inner.T @ wrong + PULL * now["weights"],
        "bias": wrong.sum(keepdims=True),
    }


def mixtures(pool: mixing.Pool, rng: np.random.Generator, count: int, weights: dict[str, Any]) -> Beginnings:
    """Beginnings that the network finds in mixtures of so many pieces."""
    parts: list[Beginnings] = []
    for _ in range(0, count, AT_ONCE):
        pieces = int(rng.integers(1, training.LONGEST + 1))
        made = mixing.batch(pool, rng, AT_ONCE // pieces, pieces)
        parts.append(candidates(training.heard_all(weights, made["bands"]), made["bands"], made["state"]))
    ends = np.cumsum([0, *(one.number[-1] + 1 for one in parts)])
    return Beginnings(
        np.concatenate([one.rows for one in parts]),
        np.concatenate([one.true for one in parts]),
        np.concatenate([one.number + end for one, end in zip(parts, ends, strict=False)]),
    )


def table(some: Beginnings, shares: Floats) -> str:
    """How many true and false beginnings each limit keeps, at the first judgement and at the surest."""
    first = some.first()
    most, true = some.surest(shares)
    lines = [f"{int(true.sum())} true, {int((~true).sum())} false"]
    for limit in (0.3, 0.5, 0.6, 0.7, 0.8, 0.9):
        early, ever = shares[first] >= limit, most >= limit
        lines.append(
            f"{limit}: true {early[true].mean():.2f} at once, {ever[true].mean():.2f} ever;"
            f" false {early[~true].mean():.2f} at once, {ever[~true].mean():.2f} ever"
        )
    return "\n".join(lines)


def main(words: list[str]) -> int:
    """Fit and write."""
    parser = argparse.ArgumentParser(prog="certain", description=__doc__)
    parser.add_argument("--speech", required=True, help="an .npz of spoken sentences, int16 at 16 kHz")
    parser.add_argument("--pieces", type=int, default=24, help="sounds of each kind")
    parser.add_argument("--count", type=int, default=9000, help="pieces to fit to; then some to test")
    parser.add_argument("--network", type=Path, default=NETWORK)
    parser.add_argument("--out", type=Path, default=WEIGHTS)
    options = parser.parse_args(words)
    training.open_speech(options.speech)
    rng = np.random.default_rng([DEVELOPING.seed, 44])
    pool = mixing.made_pool(rng, training.speech, options.pieces)
    network = training.kept_weights(options.network)
    kept = fitted(mixtures(pool, rng, options.count, network))
    small: dict[str, Any] = {name: value.astype(np.float32) for name, value in kept.items()}
    np.savez(options.out, **small)
    tested = mixtures(pool, rng, TESTED, network)
    print(table(tested, certainties(kept, tested.rows)))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
