"""Sums and paths over the network's outputs: how likely a sequence of phones is, in all ways to speak it.

The outputs are those of connectionist temporal classification (Graves et al. 2006): a phone may last several steps,
blanks may lie between phones and must lie between equal ones.
"""

from __future__ import annotations

import functools
import itertools
import math
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray

from assistant.grammar.near_misses import everyday
from assistant.hearing.acoustics import OUTPUTS, PHONE_NUMBERS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.hearing.acoustics import Floats as Logs

Floats: TypeAlias = NDArray[np.float64]
Phones: TypeAlias = tuple[int, ...]
"""Outputs of the phones of a phrase, in order."""

FLOOR = 0.02
"""Share of each step's probability that is spread over all outputs, so that one phone that is spoken in another way
costs a limited amount: at most the logarithm of `FLOOR` / `OUTPUTS`."""

_RESCALE = 8
"""Steps between rescalings: `FLOOR` / `OUTPUTS` to this power is still far from the smallest number."""


SCALE, BLANK = 0.6, 3.5
"""The decoder's weight of the log-probabilities, and logarithm of the prior by which it holds the blank down."""


def floor(logs: Logs) -> Floats:
    """Probabilities of the steps with the floor, shape (steps, OUTPUTS)."""
    return np.asarray((1 - FLOOR) * np.exp(logs.astype(np.float64)) + FLOOR / OUTPUTS)


def held_down(floored: Floats) -> Floats:
    """The same with the blank held down, as the decoder does: the network is surer of it than of any phone."""
    held = floored.copy()
    held[:, 0] *= math.exp(-BLANK)
    return held


def forward(likelihoods: Floats, phrases: Sequence[Phones], blocks: Sequence[int] | None = None) -> Floats:
    """For each phrase the logarithm of the summed probability of all ways to speak it over all steps.

    A phrase that has more phones than there are steps gets the logarithm of next to nothing.

    Args:
        likelihoods: Likelihoods of the outputs, one row a step; several blocks of `OUTPUTS` columns side by side.
        phrases: The outputs of each phrase's phones.
        blocks: For each phrase the block that it is summed over; the first without.
    """
    count = len(phrases)
    if not count or not len(likelihoods):
        return np.full(count, -math.inf)
    longest = max(len(one) for one in phrases)
    size = 2 * longest + 1
    labels = np.zeros((count, size), np.intp)
    ends = np.zeros(count, np.intp)
    for row, one in enumerate(phrases):
        labels[row, 1 : 2 * len(one) : 2] = one
        ends[row] = 2 * len(one)
    leaps = np.asarray(labels[:, 3::2] != labels[:, 1:-2:2], np.float64)
    if blocks is not None:
        labels += OUTPUTS * np.asarray(blocks, np.intp)[:, None]
    alpha, following = np.zeros((count, size)), np.empty((count, size))
    moved, here = np.empty_like(leaps), np.empty((count, size))
    alpha[:, :2] = likelihoods[0][labels[:, :2]]
    scale = np.zeros(count)
    for number in range(1, len(likelihoods)):
        np.copyto(following, alpha)
        following[:, 1:] += alpha[:, :-1]
        np.multiply(alpha[:, 1:-2:2], leaps, out=moved)
        following[:, 3::2] += moved
        np.take(likelihoods[number], labels, out=here, mode="clip")
        following *= here
        alpha, following = following, alpha
        if number % _RESCALE == _RESCALE - 1:
            most = np.maximum(alpha.max(axis=1), 1e-300)
            alpha /= most[:, None]
            scale += np.log(most)
    rows = np.arange(count)
    ended = alpha[rows, ends] + np.where(ends > 0, alpha[rows, ends - 1], 0.0)
    return np.asarray(scale + np.log(np.maximum(ended, 1e-300)))


def aligned(floored: Floats, phones: Phones) -> NDArray[np.intp] | None:
    """The likeliest way to speak the phones: for each step the number of the phone, or -1 for a blank.

    Returns:
        None if there are fewer steps than phones.
    """
    steps, size = len(floored), 2 * len(phones) + 1
    if steps < len(phones) or not phones:
        return None
    labels = np.zeros(size, np.intp)
    labels[1::2] = phones
    leaps = np.full(size, -np.inf)
    leaps[3::2] = np.where(labels[3::2] != labels[1:-2:2], 0.0, -np.inf)
    logs = np.log(floored)[:, labels]
    score = np.full(size, -np.inf)
    score[:2] = logs[0, :2]
    back, chosen = np.zeros((steps, size), np.int8), np.empty(size, np.intp)
    moved = np.full((3, size), -np.inf)
    for step in range(1, steps):
        moved[0] = score
        moved[1, 1:] = score[:-1]
        moved[2, 2:] = score[:-2] + leaps[2:]
        moved.argmax(axis=0, out=chosen)
        back[step] = chosen
        score = moved.max(axis=0) + logs[step]
    place = size - 1 if score[size - 1] >= score[size - 2] else size - 2
    if not np.isfinite(score[place]):
        return None
    path = np.empty(steps, np.intp)
    for step in range(steps - 1, -1, -1):
        path[step] = place // 2 if place % 2 else -1
        place -= int(back[step, place])
    return path


def collapsed(best: NDArray[np.intp]) -> list[tuple[int, int]]:
    """The phones of the likeliest outputs, each with its first step."""
    return [
        (int(output), at) for at, output in enumerate(best) if output and (at == 0 or best[at - 1] != output)
    ]


def edits(one: Sequence[int], other: Sequence[int]) -> int:
    """Fewest phones to change, add or leave out to turn one into the other."""
    row = list(range(len(other) + 1))
    for at, left in enumerate(one, 1):
        before, row[0] = row[0], at
        for to, right in enumerate(other, 1):
            before, row[to] = row[to], min(row[to] + 1, row[to - 1] + 1, before + (left != right))
    return row[-1]


@functools.cache
def pairs() -> Floats:
    """Probability of each phone after each other one in everyday words, shape (OUTPUTS, OUTPUTS); row 0: at the
    beginning. The end of a word leads to the beginnings of all words.
    """
    counts = np.full((OUTPUTS, OUTPUTS), 0.5)
    counts[:, 0] = 0.0
    for _, phones in everyday().words:
        numbers = [0, *(PHONE_NUMBERS[phone] for phone in phones)]
        for before, after in itertools.pairwise(numbers):
            counts[before, after] += 1
    begins = counts[0] / counts[0].sum()
    ends = np.zeros(OUTPUTS)
    for _, phones in everyday().words:
        ends[PHONE_NUMBERS[phones[-1]]] += 1
    counts += ends[:, None] * begins[None]
    return np.asarray(counts / counts.sum(axis=1, keepdims=True))


def background(likelihoods: Floats) -> float:
    """Logarithm of the summed likelihood of all phone sequences, each weighed by how English it is (`pairs`)."""
    odds = pairs()
    same = odds.diagonal()
    phone, blank = np.zeros(OUTPUTS), np.zeros(OUTPUTS)
    blank[0] = 1.0  # nothing was spoken yet
    scale = 0.0
    for number, step in enumerate(likelihoods):
        either = phone + blank
        # The same phone again needs a blank between.
        phone, blank = (phone + either @ odds - phone * same) * step, either * step[0]
        if number % _RESCALE == _RESCALE - 1:
            most = max(float(phone.max()), float(blank.max()), 1e-300)
            phone, blank, scale = phone / most, blank / most, scale + math.log(most)
    return scale + math.log(max(float((phone + blank).sum()), 1e-300))
