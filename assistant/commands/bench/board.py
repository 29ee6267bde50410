"""`bay-assistant bench board`: measure the board's taps and the load of watching tablets."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.commands.console import print_json
from assistant.commands.time_left import ToldTime

if TYPE_CHECKING:
    import argparse

ABOUT = "Measure how long a tap takes to the new board, in a browser, and what watching tablets cost."
EXAMPLE = "bay-assistant bench board"
FINDING = "a limit is missed"


def add(_parser: argparse.ArgumentParser) -> None:
    """It has no options of its own."""


def run(options: argparse.Namespace) -> int:
    """Print a line for each figure; 1 if a limit is missed."""
    from assistant.benchmarks import machine  # noqa: PLC0415
    from assistant.board import measuring  # noqa: PLC0415
    from assistant.board.serving import packages  # noqa: PLC0415

    packages()
    with ToldTime("Measuring", {"taps": 1.0, "turns": 4.0}) as progress:
        found = measuring.measure(progress.tell)
    if options.json:
        print_json({"machine": machine(), "figures": [vars(figure) for figure in found]})
    else:
        print(machine())
        for figure in found:
            limit = "" if figure.limit_ms is None else f"at most {figure.limit_ms:.0f}"
            print(f"{figure.name:<60} {figure.value_ms:>7.1f} ms  {limit:<12} n = {figure.count}")
    return int(any(one.limit_ms is not None and one.value_ms > one.limit_ms for one in found))
