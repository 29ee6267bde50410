"""The whole check: choose, try, report."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from assistant.benchmarks import machine
from assistant.mistakes import trying
from assistant.mistakes.report import MistakesReport

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def measure(
    procedures: Path,
    grammars: Path,
    *,
    count: int = trying.COUNT,
    systems: int = trying.SYSTEMS,
    seed: int = 1,
    processes: int = trying.PROCESSES,
    progress: Callable[[int, int], None] = lambda _done, _all: None,
) -> MistakesReport:
    """Try mistakes in these procedures; minutes for the shipped ones.

    Args:
        procedures: Folder of the procedures; it stays unchanged.
        grammars: Folder of the grammars.
        count: Number of mistakes.
        systems: Random cars for each way in which a fault comes about.
        seed: Seed of the choice of mistakes and of the cars.
        processes: Largest number of processes.
        progress: Called with (done, total).

    Raises:
        BayAssistantError: The unchanged procedures cannot be loaded or proven.
    """
    begun = time.perf_counter()
    bench = trying.TrialSetup(procedures, grammars, systems, seed)
    before = trying.sound(bench)
    mistakes = trying.choose(bench, count)
    tried = trying.carry_out(bench, before, mistakes, processes=processes, progress=progress)
    return MistakesReport(
        tuple(tried),
        seed,
        systems,
        len(before.findings),
        len(before.failures),
        time.perf_counter() - begun,
        machine(),
    )
