"""`bay-assistant bench procedures`: mistakes made on purpose, and how many of them are caught."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from assistant import resources
from assistant.commands.arguments import whole
from assistant.commands.console import print_json
from assistant.commands.time_left import TimeLeft

if TYPE_CHECKING:
    import argparse

ABOUT = "Put mistakes into the procedures and count what loader, lint and proof catch; takes some minutes."
EXAMPLE = "bay-assistant bench procedures --count 120 --seed 2"
FINDING = "a mistake that must be caught was missed"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "--procedures", type=Path, metavar="DIR", help="folder of procedures (default: bundled)"
    )
    parser.add_argument(
        "--count",
        type=whole(1, 100_000),
        default=90,
        metavar="N",
        help="number of mistakes, spread over all kinds (default: 90)",
    )
    parser.add_argument(
        "--systems",
        type=whole(1, 1000),
        default=40,
        metavar="N",
        help="random cars for each way a fault can come about (default: 40)",
    )
    parser.add_argument(
        "--seed",
        type=whole(0, 10**9),
        default=1,
        metavar="N",
        help="seed for the choice of mistakes and for the random cars (default: 1)",
    )
    parser.add_argument(
        "--processes", type=whole(1, 64), default=2, metavar="N", help="most processes at once (default: 2)"
    )


def run(options: argparse.Namespace) -> int:
    """Print the counts; the exit status is 1 when a mistake that must be caught was not."""
    from assistant.mistakes.running import measure  # noqa: PLC0415

    with TimeLeft("Trying mistakes") as left:
        report = measure(
            options.procedures or resources.directory("procedures"),
            resources.directory("grammars"),
            count=options.count,
            systems=options.systems,
            seed=options.seed,
            processes=options.processes,
            progress=left.show,
        )
    if options.json:
        print_json(report.to_json())
    else:
        print(report.text().rstrip("\n"))
    return 0 if report.holds else 1
