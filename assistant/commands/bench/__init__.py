"""`bay-assistant bench`: figures measured on this machine, and a command below it for each further measurement.

Each of those commands is a module like the other commands; what it measures with is in the room that it measures, or in
a module beside it.
"""

from __future__ import annotations

import json
import sys
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
from assistant.commands.options import add_model

if TYPE_CHECKING:
    import argparse

ABOUT = "Measure how fast the assistant answers, hears and starts, and its memory."
EXAMPLE = "bay-assistant bench"

MEASUREMENTS = {
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
    parser.add_argument("--json", action="store_true", help="print the figures as JSON")
    add_model(parser)
    further = parser.add_subparsers(metavar="")
    for name, module in MEASUREMENTS.items():
        one = further.add_parser(
            name, help=module.ABOUT, description=module.ABOUT, epilog=f"Example: {module.EXAMPLE}"
        )
        one.set_defaults(command=module.run)
        module.add(one)


def run(options: argparse.Namespace) -> int:
    """Print the figures of the README."""
    from assistant.commands.bench import figures  # noqa: PLC0415

    measured = figures.measure(
        model=options.model, progress=lambda text: print(text, file=sys.stderr, flush=True)
    )
    if options.json:
        print(json.dumps(measured.to_json(), indent=2))
    else:
        print(measured.text(), end="")
    return 0
