"""Answers at a step, as shares of honest observers, and of some who are mistaken."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.problems import CircuitProblem
from assistant.circuit.readings import reading_shares

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from assistant.circuit.observed import Observed
    from assistant.core.library.procedure import Step

    Floats = NDArray[np.float64]


def answer_shares(observed: Observed, step: Step, *, blank: bool = False) -> Floats:
    """Shares of the answers at a step, shape ``(n, ways)``, in the order of `Step.ways`.

    Args:
        observed: The look of the instrument.
        step: The step.
        blank: The person leaves every value of the maker blank.

    Raises:
        CircuitProblem: The instrument cannot show what the step asks for.
    """
    if step.reading is not None:
        return reading_shares(observed, step.reading, blank=blank)
    return outcome_shares(observed, [answer.outcome for answer in step.answers])


def outcome_shares(observed: Observed, outcomes: Sequence[str], misreading: float = 0.0) -> Floats:
    """Shares in which honest observers would give each of these answers.

    Args:
        observed: The look of the instrument.
        outcomes: The answers to choose from.
        misreading: Share of answers that are any of the other answers, by mistake.

    Returns:
        Shape ``(n, len(outcomes))``; rows sum to 1.

    Raises:
        CircuitProblem: No answer, or one that this instrument cannot show.
    """
    if not outcomes:
        raise CircuitProblem("There is no answer to choose from.")
    if observed.shown is None:
        raise CircuitProblem("This instrument shows a number, and the answers to choose from are words.")
    shares = observed.shown.honest(outcomes)
    total = shares.sum(axis=1, keepdims=True)
    shares = np.where(total > 0, shares / np.maximum(total, 1e-12), 1 / len(outcomes))
    return mistaken(shares, misreading)


def mistaken(shares: Floats, misreading: float) -> Floats:
    """Shares of answers if some are mistaken for any of the other answers, all alike.

    Raises:
        CircuitProblem: The share of mistakes is not between 0 and 1.
    """
    if not 0 <= misreading <= 1:
        raise CircuitProblem(f"A share of misread answers lies between 0 and 1, not at {misreading:g}.")
    others = shares.shape[1] - 1
    if misreading == 0 or others == 0:
        return shares
    return np.asarray((1 - misreading) * shares + misreading * (1 - shares) / others)
