"""Small boosted trees."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.acoustic.boosting import Growth, Node, boosted


def added(trees: list[Node], row: np.ndarray) -> float:
    """What the trees add for one case."""
    total = 0.0
    for tree in trees:
        node = tree
        while not isinstance(node, float):
            place, threshold, below, above = node
            node = above if row[place] >= threshold else below
        total += node
    return total


def test_a_first_tree_is_the_best_step_by_hand() -> None:
    """One split, no ridge, full rate: each leaf is the Newton step, (right - expected) over the curvature."""
    inputs = np.array([[0.0]] * 40 + [[1.0]] * 60)
    targets = np.array([0.0] * 30 + [1.0] * 10 + [1.0] * 45 + [0.0] * 15)
    growth = Growth(trees=1, depth=1, rate=1.0, least=1.0, ridge=0.0)
    begin, (tree,) = boosted(inputs, targets, np.ones(100), [0], growth)
    share = 0.55
    assert begin == pytest.approx(np.log(share / (1 - share)))
    assert not isinstance(tree, float)
    curve = share * (1 - share)
    assert tree[2] == pytest.approx((10 - 40 * share) / (40 * curve), abs=1e-4)
    assert tree[3] == pytest.approx((45 - 60 * share) / (60 * curve), abs=1e-4)


def test_two_measures_that_only_count_together_are_found() -> None:
    """Right if exactly one of two measures is high: no line can say it, trees of two splits can."""
    draws = np.random.default_rng(1).random((2000, 2))
    targets = ((draws[:, 0] > 0.5) != (draws[:, 1] > 0.5)).astype(float)
    begin, trees = boosted(draws, targets, np.ones(2000), [0, 0], Growth(trees=60, depth=2, rate=0.3))
    for row, right in zip(draws[:200], targets[:200], strict=True):
        if min(abs(row - 0.5)) > 0.05:
            assert (begin + added(trees, row) > 0) == bool(right)


def test_a_case_of_no_weight_changes_nothing() -> None:
    """Weights count as copies: weight 0 is absence."""
    draws = np.random.default_rng(2).random((500, 2))
    targets = (draws[:, 0] > 0.4).astype(float)
    weights = np.r_[np.ones(300), np.zeros(200)]
    turned = np.r_[targets[:300], 1 - targets[300:]]
    growth = Growth(trees=5, bins=8)
    assert boosted(draws, targets, weights, [0, 0], growth) == boosted(draws, turned, weights, [0, 0], growth)
