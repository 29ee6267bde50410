"""The likeliest way of one car from the first step of a procedure to an end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.core.library.procedure import Answer, Step
from assistant.proof.walk import LONGEST, End, answers, follow

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.circuit.looks import Shares
    from assistant.core.library.library import Library


@dataclass(frozen=True)
class Told:
    """One step of a story: the step, its answer (None: skipped) and the share of this answer."""

    procedure: str
    step: Step
    answer: Answer | None
    share: float


def story(
    library: Library,
    entry: str,
    end: End,
    shares: Shares,
    *,
    skips: Callable[[Step], bool] = lambda _step: False,
) -> tuple[Told, ...]:
    """The likeliest way of one car from the first step of a procedure to an end; empty if none leads there.

    Args:
        library: The procedures.
        entry: Name of the first procedure.
        end: The end of the way.
        shares: Shares of the answers, shape (1, 1, answers).
        skips: Whether a test is skipped.
    """
    best: tuple[float, tuple[Told, ...]] = (0.0, ())
    waiting: list[tuple[tuple[str, str, frozenset[str]], float, tuple[Told, ...]]] = [
        ((entry, library.procedures[entry].start, frozenset((entry,))), 1.0, ())
    ]
    one = np.ones((1, 1))
    while waiting:
        (name, step_name, entered), likely, before = waiting.pop()
        step = library.step(name, step_name)
        if likely <= best[0] or len(before) > LONGEST:
            continue
        for outcome, target, some, _ in answers(step, (name, step_name), shares, one, one, skips):
            share = float(some[0, 0])
            way = (*before, Told(name, step, step.answer(outcome) if outcome else None, share))
            next_step, through, reached = follow(library, name, target, entered)
            if (reached == end or end in through) and likely * share > best[0]:
                best = likely * share, way
            elif next_step is not None:
                waiting.append((next_step, likely * share, way))
    return best[1]
