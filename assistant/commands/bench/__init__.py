"""`bay-assistant bench`: figures measured on this machine, and a command below it for each further measurement.

Each of those commands is a module like the other commands; what it measures with is in the room that it measures, or in
a module beside it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.commands.bench import (
    board,
    circuit,
    hearing,
    jobs,
    leakage,
    long,
    procedures,
    rehearsal,
    sessions,
    speech,
    starter,
)
from assistant.commands.console import print_json
from assistant.commands.one import Command, add_command
from assistant.commands.options import add_json, add_model
from assistant.commands.time_left import ToldTime

if TYPE_CHECKING:
    import argparse
    from collections.abc import Mapping

ABOUT = "Measure how fast the assistant answers, hears and starts, and its memory."
EXAMPLE = "bay-assistant bench"

MEASUREMENTS: Mapping[str, Command] = {
    "hearing": hearing,
    "leakage": leakage,
    "circuit": circuit,
    "procedures": procedures,
    "sessions": sessions,
    "long": long,
    "rehearsal": rehearsal,
    "jobs": jobs,
    "speech": speech,
    "board": board,
    "starter": starter,
}
"""The commands below this one, in the order of the help text."""


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options and the commands below it."""
    add_json(parser)
    add_model(parser)
    further = parser.add_subparsers(metavar="MEASUREMENT", title="measurements")
    for name, module in MEASUREMENTS.items():
        add_json(add_command(further, name, module), below=True)


def run(options: argparse.Namespace) -> int:
    """Print the figures of the README."""
    from assistant.commands.bench import figures  # noqa: PLC0415

    with ToldTime("Measuring", figures.PARTS) as progress:
        measured = figures.measure(model=options.model, progress=progress.tell)
    if options.json:
        print_json(measured.to_json())
    else:
        print(measured.text(), end="")
    return 0
