"""`bay-assistant bench sessions`: measure the time to find past sessions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant import resources
from assistant.commands.arguments import whole
from assistant.commands.console import print_json
from assistant.commands.time_left import ToldTime

if TYPE_CHECKING:
    import argparse

ABOUT = "Measure how long it takes to find past sessions, with and without the index."
EXAMPLE = "bay-assistant bench sessions --count 500"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "--count", type=whole(0, 100_000), metavar="N", help="made-up sessions (default: 2000)"
    )


def run(options: argparse.Namespace) -> int:
    """Print a line for each way of finding sessions."""
    from assistant.benchmarks import machine  # noqa: PLC0415
    from assistant.commands.bench import past_sessions  # noqa: PLC0415

    count = past_sessions.COUNT if options.count is None else options.count
    with ToldTime("Measuring", past_sessions.PARTS) as progress:
        found = past_sessions.measure(resources.directory("procedures"), count, progress.tell)
    if options.json:
        print_json({"machine": machine(), "figures": [vars(timing) for timing in found]})
        return 0
    print(machine())
    for timing in found:
        print(f"{timing.name:<50} {timing.seconds:8.3f} s")
    return 0
