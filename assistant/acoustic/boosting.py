"""Small boosted trees in numpy: many shallow trees, each fitted to what the ones before leave unexplained.

Gradient boosting with the logistic loss and second-order steps (Friedman, "Greedy function approximation", Annals of
Statistics 29, 2001; Chen and Guestrin, "XGBoost", KDD 2016, from memory), on bins of equally many cases. A measure can
be held to one direction (monotone): splits that would turn it round are not taken, and the leaves on either side of a
split of such a measure stay on either side of its middle.

A tree is a number (a leaf), or a list of a measure's place, a threshold, and the trees below and from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Sequence

Floats: TypeAlias = NDArray[np.float64]
Places: TypeAlias = NDArray[np.intp]
Node: TypeAlias = "float | tuple[int, float, Node, Node]"


@dataclass(frozen=True)
class Growth:
    """How the trees grow.

    Attributes:
        trees: Number of trees.
        depth: Splits from the root to a leaf.
        rate: Share of each step that is taken.
        least: Least weight of the cases in a leaf.
        ridge: Weight of the squared leaves.
        bins: Most bins of a measure.
    """

    trees: int = 150
    depth: int = 4
    rate: float = 0.06
    least: float = 12.0
    ridge: float = 1.0
    bins: int = 40


DEFAULT_GROWTH = Growth()


class _Grower:
    """Grows one forest on binned measures."""

    def __init__(self, inputs: Floats, weights: Floats, signs: Sequence[int], growth: Growth) -> None:
        self.growth = growth
        self.weights = weights
        self.signs = signs
        self.edges: list[Floats] = []
        binned = np.empty(inputs.shape, np.intp)
        for column in range(inputs.shape[1]):
            values = inputs[:, column]
            edges = np.unique(np.quantile(values, np.linspace(0, 1, growth.bins + 1)[1:-1]))
            self.edges.append(np.asarray(edges))
            binned[:, column] = np.searchsorted(edges, values, "right")
        self.binned = binned
        self._flat = binned + np.arange(inputs.shape[1]) * growth.bins

    def grown(self, slopes: Floats, curves: Floats) -> tuple[Node, Floats]:
        """One tree, and what it adds to each case."""
        self.slopes, self.curves = slopes, curves
        self.added = np.zeros(len(slopes))
        tree = self._node(np.arange(len(slopes)), self.growth.depth, -np.inf, np.inf)
        return tree, self.added

    def _leaf(self, slope: float, curve: float, low: float, high: float) -> float:
        return float(np.clip(slope / (curve + self.growth.ridge), low, high))

    def _node(self, rows: Places, depth: int, low: float, high: float) -> Node:
        slope, curve = float(self.slopes[rows].sum()), float(self.curves[rows].sum())
        value = self._leaf(slope, curve, low, high)
        split = self._split(rows, slope, curve, (low, high)) if depth else None
        if split is None:
            self.added[rows] = self.growth.rate * value
            return round(self.growth.rate * value, 5)
        column, place, left, right = split
        middle = (left + right) / 2
        sign = self.signs[column]
        below = self.binned[rows, column] <= place
        bounds = ((low, high), (low, high))
        if sign > 0:
            bounds = ((low, middle), (middle, high))
        elif sign < 0:
            bounds = ((middle, high), (low, middle))
        threshold = round(float(self.edges[column][place]), 4)
        return (
            column,
            threshold,
            self._node(rows[below], depth - 1, *bounds[0]),
            self._node(rows[~below], depth - 1, *bounds[1]),
        )

    def _split(
        self, rows: Places, slope: float, curve: float, bounds: tuple[float, float]
    ) -> tuple[int, int, float, float] | None:
        """The best split: measure, last bin below, and the leaves on either side; None if none is worth it."""
        bins, columns, ridge = self.growth.bins, len(self.edges), self.growth.ridge
        flat = self._flat[rows].ravel()

        def summed(values: Floats) -> Floats:
            found = np.bincount(flat, np.repeat(values[rows], columns), bins * columns)
            return np.asarray(found.reshape(columns, bins).cumsum(axis=1))

        slopes, curves, weights = summed(self.slopes), summed(self.curves), summed(self.weights)
        total = weights.max(axis=1, keepdims=True)
        left = np.clip(slopes / np.maximum(curves + ridge, 1e-12), *bounds)
        right = np.clip((slope - slopes) / np.maximum(curve - curves + ridge, 1e-12), *bounds)
        gain = left * slopes - left**2 * (curves + ridge) / 2
        gain += right * (slope - slopes) - right**2 * (curve - curves + ridge) / 2
        sign = np.array(self.signs, np.float64).reshape(-1, 1)
        allowed = (weights >= self.growth.least) & (total - weights >= self.growth.least)
        allowed &= sign * (right - left) >= 0
        gain = np.where(allowed, gain, -np.inf)
        column, place = divmod(int(gain.argmax()), bins)
        whole = float(np.clip(slope / (curve + ridge), *bounds))
        if not gain[column, place] > whole * slope - whole**2 * (curve + ridge) / 2 + 1e-6:
            return None
        return column, place, float(left[column, place]), float(right[column, place])


def boosted(
    inputs: Floats,
    targets: Floats,
    weights: Floats,
    signs: Sequence[int],
    growth: Growth = DEFAULT_GROWTH,
) -> tuple[float, list[Node]]:
    """The log-odds to begin with, and the trees that add to them.

    Args:
        inputs: One row for each case.
        targets: 1 if the answer was right, else 0.
        weights: Weight of each case.
        signs: For each measure 1 if more of it can only make an answer likelier, -1 if less likely, 0 for either.
        growth: How the trees grow.
    """
    share = float((weights * targets).sum() / weights.sum())
    begin = float(np.log(share / (1 - share)))
    grower = _Grower(inputs, weights, signs, growth)
    odds = np.full(len(targets), begin)
    trees: list[Node] = []
    for _ in range(growth.trees):
        chance = 1 / (1 + np.exp(-odds))
        tree, added = grower.grown(weights * (targets - chance), weights * chance * (1 - chance))
        odds += added
        trees.append(tree)
    return begin, trees
