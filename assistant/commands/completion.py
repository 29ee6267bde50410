"""`bay-assistant completion`: the script with which a shell completes commands, options and names."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.commands.help_pages import group

if TYPE_CHECKING:
    import argparse

ABOUT = "Print a script with which Tab completes commands, options and names in your shell."
EXAMPLE = 'eval "$(bay-assistant completion bash)"'

SHELLS = ("bash", "zsh", "fish")
"""Shells that shtab writes scripts for, and that people here work in."""


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    what = group(parser, "what to print").add_mutually_exclusive_group(required=True)
    what.add_argument(
        "shell", nargs="?", metavar="SHELL", choices=SHELLS, help="the script for bash, zsh or fish"
    )
    what.add_argument(
        "--names",
        choices=("procedures", "sessions", "settings"),
        metavar="KIND",
        help="the names that the script asks for: procedures, sessions or settings, one a line",
    )


def run(options: argparse.Namespace) -> int:
    """Print the script, or the names.

    Raises:
        UsageProblem: A folder with names cannot be read.
    """
    from assistant.commands import completing  # noqa: PLC0415

    print(
        "\n".join(completing.names(options.names))
        if options.names
        else completing.script(options.parser, options.shell)
    )
    return 0
