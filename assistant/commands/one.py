"""The parts of a command's module, and the parser that is made from them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol

from assistant.commands.help_pages import DONE, WRONG

if TYPE_CHECKING:
    import argparse


class Command(Protocol):
    """The module of a command; one that can end with exit status 1 also says in ``FINDING`` what that means."""

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


def add_command(commands: Any, name: str, command: Command) -> argparse.ArgumentParser:
    """Add the parser of a command.

    Args:
        commands: The action of argparse that holds the commands.
        name: Name of the command.
        command: Its module.

    Returns:
        The parser, for further options.
    """
    finding = getattr(command, "FINDING", "")
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=command.ABOUT,
        description=command.ABOUT,
        examples=[command.EXAMPLE],
        statuses=[DONE, *([f"1 {finding}"] if finding else []), WRONG],
    )
    parser.set_defaults(command=command.run)
    command.add(parser)
    return parser
