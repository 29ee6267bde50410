"""`bay-assistant bench long`: measure sessions of a whole day."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant import resources
from assistant.commands.arguments import whole
from assistant.commands.console import print_json
from assistant.commands.time_left import ToldTime

if TYPE_CHECKING:
    import argparse

ABOUT = "Measure very long sessions: memory, resuming, writing up; takes some minutes."
EXAMPLE = "bay-assistant bench long --lines 30000"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "--lines", type=whole(100, 1_000_000), metavar="N", help="lines of each session (default: 30000)"
    )
    parser.add_argument("--pdf", action="store_true", help="also make the PDFs, which takes many minutes")


def run(options: argparse.Namespace) -> int:
    """Print a line for each figure."""
    from assistant.benchmarks import machine  # noqa: PLC0415
    from assistant.commands.bench import long_sessions  # noqa: PLC0415

    lines = long_sessions.LINES if options.lines is None else options.lines
    with ToldTime("Measuring", long_sessions.parts(lines=lines, pdf=options.pdf), known=True) as progress:
        found = long_sessions.measure(
            resources.directory("procedures"),
            lines=lines,
            pdf=options.pdf,
            progress=progress.tell,
        )
    if options.json:
        print_json({"machine": machine(), "figures": [vars(figure) for figure in found]})
        return 0
    print(machine())
    for figure in found:
        print(f"{figure.name:<75} {figure.limit:>6} {figure.value}")
    return 0
