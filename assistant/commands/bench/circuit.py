"""`bay-assistant bench circuit`: measure the circuit model's time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant import resources
from assistant.commands.console import print_json
from assistant.commands.time_left import TimeLeft

if TYPE_CHECKING:
    import argparse

ABOUT = "Measure how long the circuit model takes for all measurements of the procedures."
EXAMPLE = "bay-assistant bench circuit"


def add(parser: argparse.ArgumentParser) -> None:
    """It has no options of its own."""


def run(options: argparse.Namespace) -> int:
    """Print a line for each number of systems."""
    from assistant.benchmarks import machine  # noqa: PLC0415
    from assistant.commands.bench.circuit_time import measure  # noqa: PLC0415
    from assistant.loading.folder import load_library  # noqa: PLC0415

    with TimeLeft("Measuring") as left:
        found = measure(load_library(resources.directory("procedures")), progress=left.show)
    if options.json:
        print_json({"machine": machine(), "figures": [vars(timing) for timing in found]})
        return 0
    print(machine())
    for timing in found:
        print(f"{timing.systems:5d} systems, {timing.observations} observations each: {timing.seconds:.2f} s")
    return 0
