"""Arguments of the command line: numbers within stated bounds, and errors with the nearest right word or the cure."""

from __future__ import annotations

import argparse
import math
import sys
from typing import TYPE_CHECKING, Any, NoReturn

from assistant.commands.help_pages import SUBCOMMANDS, HelpPage, ending, page_width, short_usage
from assistant.core.nearest import among, nearest

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

_SHOWN = 40
"""Number of characters of a wrong value that an error repeats."""


class CommandParser(argparse.ArgumentParser):
    """A parser that answers every mistake with a sentence and exit status 2, and has a help page for people.

    Args:
        examples: Calls that work, for the end of the page; none leaves that out.
        statuses: What the exit statuses mean, in the same place.
        listed: Titles for the commands of this parser, with their names; without them they stand in one list.
        more: Arguments of `argparse.ArgumentParser`.
    """

    def __init__(
        self,
        *,
        examples: Sequence[str] = (),
        statuses: Sequence[str] = (),
        listed: Mapping[str, Sequence[str]] | None = None,
        **more: Any,
    ) -> None:
        super().__init__(**{"formatter_class": HelpPage, **more})
        self.examples = tuple(examples)
        self.statuses = tuple(statuses)
        self.listed = dict(listed or {})
        self._positionals.title = "arguments"

    def format_usage(self) -> str:
        """The usage; with many options, without their names."""
        formatter = self._get_formatter()
        formatter.add_usage(
            self._usage(page_width(formatter)), self._actions, self._mutually_exclusive_groups
        )
        return formatter.format_help()

    def format_help(self) -> str:
        """The page: usage, purpose, arguments and options in groups, examples, exit status."""
        formatter = self._get_formatter()
        formatter.add_usage(
            self._usage(page_width(formatter)), self._actions, self._mutually_exclusive_groups
        )
        formatter.add_text(self.description)
        for one in self._action_groups:
            if one is self._commands_group():
                self._add_commands(formatter, str(one.title))
                continue
            formatter.start_section(one.title)
            formatter.add_arguments(one._group_actions)  # noqa: SLF001  as argparse does it
            formatter.end_section()
        page = formatter.format_help()
        if not self.examples:
            return page
        return f"{page}\n{ending(self.examples, self.statuses, page_width(formatter))}"

    def parse_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Like argparse, but refuse a value of ``--`` after "=" first, because argparse of Python 3.11 fails on it."""
        given: Sequence[str] = sys.argv[1:] if args is None else args
        for argument in given:
            if argument == "--":
                break
            if argument.startswith("--") and argument.endswith("=--"):
                self.error(f"argument {argument[:-3]}: '--' is no value")
        found = super().parse_args(given, namespace)
        for name, value in vars(found).items():
            if any("\0" in str(one) for one in (value if isinstance(value, list) else [value])):
                self.error(f"argument {name}: a null character cannot be in it")
        return found

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> tuple[Any, list[str]]:
        """Like argparse, but what is not known is refused here, where the options of this command are known.

        A mistyped option is said first, because it also leads to other mistakes, such as a word too many.
        """
        for word in args or ():
            if word == "--" or (self._commands() and not word.startswith("-")):
                break
            begins = any(one.startswith(word.partition("=")[0]) for one in self._named())
            if word.startswith("--") and not begins and self._near(word):
                self.error(self._no_option(word))
        found, left = super().parse_known_args(args, namespace)
        if left:
            wrong = next((word for word in left if word.startswith("-") and word != "--"), None)
            self.error(
                f"there is no argument for {_shown(left[0])}. Leave it out, or put words that belong together in quotes"
                if wrong is None
                else self._no_option(wrong)
            )
        return found, left

    def error(self, message: str) -> NoReturn:
        """End the program; if a value began with a dash, say how to write such a value."""
        if message.endswith(("expected one argument", "expected at least one argument")):
            option = message.partition("argument ")[2].partition(":")[0].split("/")[-1]
            message += f". A value that begins with a dash is written as {option}=-VALUE"
        super().error(message)

    def _print_message(self, message: str, file: Any = None) -> None:
        """Write a page; unlike argparse, pass on what the system says if it cannot be written."""
        if message:
            (sys.stderr if file is None else file).write(message)

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        """Refuse a command or a value that there is not, with the nearest one that there is."""
        if action.choices is None or value in action.choices:
            return
        if isinstance(action, SUBCOMMANDS):
            raise argparse.ArgumentError(
                None, f"there is no command {_shown(value)}. {among(value, action.choices)}"
            )
        raise argparse.ArgumentError(
            action, f"{_shown(value)} is none of its values. {among(value, action.choices)}"
        )

    def _named(self) -> list[str]:
        return [name for action in self._actions for name in action.option_strings]

    def _near(self, word: str) -> str | None:
        """The option that a word like ``--ordr=1`` could be meant for, without its dashes."""
        known = [one.lstrip("-") for one in self._named() if one.startswith("--")]
        return nearest(word.partition("=")[0].lstrip("-"), known)

    def _no_option(self, word: str) -> str:
        name = word.partition("=")[0]
        near = self._near(word)
        if near:
            return f"there is no option {_shown(name)}. Did you mean '--{near}'?"
        return (
            f"there is no option {_shown(name)}. All options: {self.prog} --help. "
            "Words that begin with a dash are written after --"
        )

    def _commands(self) -> argparse.Action | None:
        return next((one for one in self._actions if isinstance(one, SUBCOMMANDS)), None)

    def _commands_group(self) -> Any:
        commands = self._commands()
        return next((one for one in self._action_groups if commands in one._group_actions), self)  # noqa: SLF001

    def _add_commands(self, formatter: argparse.HelpFormatter, title: str) -> None:
        about = {one.dest: one for one in getattr(self._commands(), "_choices_actions", ())}
        for heading, names in (self.listed or {title: tuple(about)}).items():
            formatter.start_section(heading)
            formatter.add_arguments([about[name] for name in names])
            formatter.end_section()

    def _usage(self, width: int) -> str | None:
        return self.usage or short_usage(self, self._actions, width)


def whole(least: int, most: int) -> Callable[[str], int]:
    """The type of an option that is a whole number from `least` to `most`."""

    def read(text: str) -> int:
        digits = text.strip().removeprefix("-")
        if not (digits.isascii() and digits.isdecimal() and len(digits.lstrip("0")) < 20):
            raise argparse.ArgumentTypeError(f"{_shown(text)} is not a whole number from {least} to {most}")
        number = int(text)
        if not least <= number <= most:
            raise argparse.ArgumentTypeError(f"{_shown(text)} is not a whole number from {least} to {most}")
        return number

    return read


def real(least: float, most: float, what: str = "a number") -> Callable[[str], float]:
    """The type of an option that is a finite number from `least` to `most`, both included."""

    def read(text: str) -> float:
        try:
            number = float(text)
        except ValueError:
            number = math.nan
        if not least <= number <= most:
            raise argparse.ArgumentTypeError(f"{_shown(text)} is not {what} from {least:g} to {most:g}")
        return number

    return read


def _shown(text: str) -> str:
    return f"'{text}'" if len(text) <= _SHOWN else f"'{text[:_SHOWN]}…' ({len(text)} signs)"
