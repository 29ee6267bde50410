"""The commands of the program, a module for each.

The module of a command has its help text and an example, adds its options, and runs it.
It imports heavy modules only when it runs, so `--help` and `verify` do not load a recogniser; at the top it
imports only the standard library and light modules.
If a command does more than read options and print, a module beside it has that work.

Standard output has the result and nothing else; remarks, "Written:", progress and errors are on standard error
(`assistant.commands.console`).
With ``--json`` (`assistant.commands.options.add_json`) the result is one JSON document, whatever the exit status:
a list where the result is a list (findings, sessions, procedures, files that were heard), else an object.
Keys are words in lower case with "_", numbers with a unit have it in the name (``duration_s``), and the same thing is
called the same everywhere: ``session``, ``procedure``, ``step``, ``path`` and ``line``, ``written`` for the files made.
`run`, `demo` and a lesson of `learn` are led by a person and have none; their results are read with other commands.
What takes more than two seconds shows its time left (`assistant.commands.time_left`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant import __version__
from assistant.commands import (
    bench,
    completion,
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
from assistant.commands.help_pages import DONE, WRONG
from assistant.commands.one import Command, add_command

if TYPE_CHECKING:
    from collections.abc import Mapping


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
    "completion": completion,
}
"""All commands, in the order of the help text."""

FOR_WRITERS = ("procedures", "lint", "prove", "picture", "hear", "bench")
"""The commands that a writer of procedures needs; all others are for the job."""

SIGNALS = "130 Ctrl-C", "141 its output was closed", "143 told to end (SIGTERM)"
"""What the exit statuses above 128 mean: 128 and the number of the signal, as shells count."""


def parser() -> CommandParser:
    """The parser of the whole command line; the attribute ``command`` of its result is the function to call."""
    made = CommandParser(
        prog="bay-assistant",
        description="Hands-free, offline helper for no-spark diagnosis with a test lamp.",
        examples=["bay-assistant demo --out demo-session", "bay-assistant COMMAND --help"],
        statuses=[DONE, "1 a finding", WRONG, *SIGNALS],
        listed={
            "commands for the job": [name for name in COMMANDS if name not in FOR_WRITERS],
            "commands for writers of procedures": FOR_WRITERS,
        },
    )
    made.add_argument(
        "--version",
        action="version",
        version=f"bay-assistant {__version__}",
        help="show the version and exit",
    )
    made.set_defaults(parser=made)  # `completion` writes it as a script
    commands = made.add_subparsers(metavar="COMMAND", required=True)
    for name, command in COMMANDS.items():
        add_command(commands, name, command)
    return made
