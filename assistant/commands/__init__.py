"""The commands of the program, a module for each.

The module of a command has its help text and an example, adds its options, and runs it.
It imports heavy modules only when it runs, so `--help` and `verify` do not load a recogniser; at the top it
imports only the standard library and light modules.
If a command does more than read options and print, a module beside it has that work.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Protocol

from assistant import __version__
from assistant.commands import (
    bench,
    demo,
    gear,
    hear,
    learn,
    licences,
    lint,
    notes,
    pack,
    picture,
    procedures,
    prove,
    replay,
    review,
    run,
    sessions,
    settings,
    verify,
    writeup,
)
from assistant.commands.arguments import CommandParser

if TYPE_CHECKING:
    from collections.abc import Mapping


class Command(Protocol):
    """The module of a command."""

    @property
    def ABOUT(self) -> str:  # noqa: N802  a constant of a module
        """Its purpose, in a sentence."""

    @property
    def EXAMPLE(self) -> str:  # noqa: N802
        """A complete example call."""

    def add(self, parser: argparse.ArgumentParser) -> None:
        """Add its options."""

    def run(self, options: argparse.Namespace) -> int:
        """Run it; returns the exit status.

        Raises:
            BayAssistantError: It cannot run; the text says why.
        """


COMMANDS: Mapping[str, Command] = {
    "run": run,
    "demo": demo,
    "hear": hear,
    "learn": learn,
    "procedures": procedures,
    "lint": lint,
    "prove": prove,
    "writeup": writeup,
    "notes": notes,
    "review": review,
    "pack": pack,
    "picture": picture,
    "verify": verify,
    "replay": replay,
    "sessions": sessions,
    "settings": settings,
    "gear": gear,
    "bench": bench,
    "licences": licences,
}
"""All commands, in the order of the help text."""


def parser() -> CommandParser:
    """The parser of the whole command line; the attribute ``command`` of its result is the function to call."""
    made = CommandParser(
        prog="bay-assistant",
        description="Hands-free, offline helper for no-spark diagnosis with a test lamp.",
        epilog="Try it without any sound gear: bay-assistant demo --out demo-session",
    )
    made.add_argument("--version", action="version", version=f"bay-assistant {__version__}")
    commands = made.add_subparsers(metavar="COMMAND", required=True)
    for name, command in COMMANDS.items():
        one = commands.add_parser(
            name,
            help=command.ABOUT,
            description=command.ABOUT,
            epilog=f"Example: {command.EXAMPLE}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        one.set_defaults(command=command.run)
        command.add(one)
    return made
