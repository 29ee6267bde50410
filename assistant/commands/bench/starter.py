"""`bay-assistant bench starter`: how well the ear hears the starter."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.commands.arguments import whole
from assistant.commands.console import print_json
from assistant.commands.time_left import TimeLeft

if TYPE_CHECKING:
    import argparse

ABOUT = "Measure how well the ear hears made-up starts, false alarms, and what it costs."
EXAMPLE = "bay-assistant bench starter --starts 10 --minutes 5"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "--starts",
        type=whole(1, 10_000),
        default=40,
        metavar="N",
        help="scenes for each place and signal-to-noise ratio (default: 40)",
    )
    parser.add_argument(
        "--minutes",
        type=whole(1, 10_000),
        default=40,
        metavar="N",
        help="minutes of each sound without a start (default: 40)",
    )
    parser.add_argument("--workers", type=whole(1, 64), default=2, metavar="N", help="processes (default: 2)")


def run(options: argparse.Namespace) -> int:
    """Print the tables."""
    from assistant.hearing_bench.starter import measuring  # noqa: PLC0415

    with TimeLeft("Measuring") as left:
        figures = measuring.measure(options.starts, options.minutes, options.workers, left.show)
    if options.json:
        print_json(figures.to_json())
    else:
        print(measuring.text(figures), end="")
    return 0
