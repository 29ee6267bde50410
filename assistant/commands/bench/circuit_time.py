"""The time that the model takes: every mechanism, every measurement of the procedures, over random systems.

A benchmark (``bay-assistant bench circuit``), not a test.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.circuit.answers import answer_shares
from assistant.circuit.catalogue import mechanisms
from assistant.circuit.observing import observe
from assistant.circuit.parameters import Systems
from assistant.core.library.vocabulary import NO_CIRCUIT

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.core.library.library import Library

COUNTS = (1, 50, 200, 800)


AS_MUCH_AS = 20
"""What an observation takes on any number of systems, in systems; chosen, and only for the time left."""


@dataclass(frozen=True)
class CircuitTime:
    """Time for all observations on a number of systems, s, and the number of pairs of mechanism and measurement."""

    systems: int
    observations: int
    seconds: float


def measure(
    library: Library,
    counts: Sequence[int] = COUNTS,
    seed: int = 1,
    progress: Callable[[float, float], None] = lambda _done, _all: None,
) -> list[CircuitTime]:
    """Observe everything, with shares of answers, on fresh systems of each count, in one process.

    `progress` is called with (done, total) of the work.
    """
    found = []
    done, whole = 0, sum(AS_MUCH_AS + count for count in counts) * len(library.procedures)
    for count in counts:
        systems = Systems.random(count, seed)
        begin = time.perf_counter()
        observations = 0
        for procedure in library.procedures.values():
            progress(done, whole)
            done += AS_MUCH_AS + count
            if procedure.circuit == NO_CIRCUIT:
                continue
            for step in procedure.steps.values():
                for mechanism in mechanisms(procedure.circuit):
                    answer_shares(observe(procedure.circuit, mechanism, step.measure, systems), step)
                    observations += 1
        found.append(CircuitTime(count, observations, time.perf_counter() - begin))
    return found
