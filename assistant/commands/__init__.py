"""The commands of the program, a module for each.

A module of a command says what the command is about, gives an example, adds its options, and runs.
What it needs for that it imports when it runs, so that `--help` and `verify` do not load a recogniser; at the top of
these modules only the standard library and light modules are imported.
Where there is more to a command than asking and printing, a module beside it holds that.
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
    lint,
    pack,
    picture,
    prove,
    replay,
    review,
    run,
    sessions,
    verify,
    writeup,
)
from assistant.commands.arguments import CommandParser

if TYPE_CHECKING:
    from collections.abc import Mapping


class Command(Protocol):
    """What the module of a command holds."""

    @property
    def ABOUT(self) -> str:  # noqa: N802  a constant of a module
        """What it is for, in a sentence."""

    @property
    def EXAMPLE(self) -> str:  # noqa: N802
        """A whole call of it."""

    def add(self, parser: argparse.ArgumentParser) -> None:
        """Add its options."""

    def run(self, options: argparse.Namespace) -> int:
        """Do it; returns the exit status.

        Raises:
            BayAssistantError: It cannot be done; the text says why.
        """


COMMANDS: Mapping[str, Command] = {
    "run": run,
    "demo": demo,
    "hear": hear,
    "lint": lint,
    "prove": prove,
    "writeup": writeup,
    "review": review,
    "pack": pack,
    "picture": picture,
    "verify": verify,
    "replay": replay,
    "sessions": sessions,
    "gear": gear,
    "bench": bench,
}
"""All commands, in the order of the help text."""


def parser() -> CommandParser:
    """The parser of the whole command line; the attribute ``command`` of what it gives is the function to call."""
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
