"""The look of a help page: whole words, a short usage, options by their purpose, an example, and the exit status.

A page fits into the terminal. Where an example is too long for it, a backslash at the line's end carries it on, so
that it can still be pasted into a shell.
"""

from __future__ import annotations

import argparse
import re
from typing import TYPE_CHECKING

from assistant.printing import filled

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

MOST_IN_USAGE = 6
"""The usage names at most so many options one by one; the page below it lists them all."""

SUBCOMMANDS = argparse._SubParsersAction  # noqa: SLF001  argparse gives this class no public name
"""The action that holds the commands of a parser."""

DONE, WRONG = "0 done", "2 wrong use, bad input, or something that is missing"
"""The exit statuses of every command, with their meanings."""

_QUOTED = r"(?:'[^']*'|\"[^\"]*\"|\S)+"
_WORD = re.compile(rf"--?[\w-]+ (?!-){_QUOTED}|{_QUOTED}")
"""A word of a command in a shell with its quoted blanks, or an option with its value."""


class HelpPage(argparse.HelpFormatter):
    """Formats a page without breaking words, also not at their hyphens."""

    def _split_lines(self, text: str, width: int) -> list[str]:
        return filled(" ".join(text.split()), width)

    def _format_action_invocation(self, action: argparse.Action) -> str:
        """An option with its other names, and with its value once."""
        if not action.option_strings or action.nargs == 0:
            return super()._format_action_invocation(action)
        value = self._format_args(action, self._get_default_metavar_for_optional(action))
        return f"{', '.join(action.option_strings)} {value}"

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        return "\n".join(filled(" ".join(text.split()), width, indent, indent))


def page_width(formatter: argparse.HelpFormatter) -> int:
    """Columns of the page that a formatter makes."""
    return formatter._width  # noqa: SLF001  argparse has no other way to it


def group(parser: argparse.ArgumentParser, title: str) -> argparse._ArgumentGroup:
    """The group of options with this title, which is made when it is first asked for.

    Args:
        parser: The parser of a command.
        title: What the options are for, in small letters.
    """
    for one in parser._action_groups:  # noqa: SLF001  argparse has no other way to a group that is there
        if one.title == title:
            return one
    return parser.add_argument_group(title)


def short_usage(
    parser: argparse.ArgumentParser, actions: Iterable[argparse.Action], width: int
) -> str | None:
    """The usage of a command with many options; None if argparse's own is short enough.

    Args:
        parser: The parser of the command.
        actions: Its options and arguments.
        width: Columns of the page.
    """
    options = [one for one in actions if one.option_strings]
    if len(options) <= MOST_IN_USAGE:
        return None
    needed = [f"{one.option_strings[-1]} {one.metavar}" for one in options if one.required]
    words = [_place(one) for one in actions if not one.option_strings]
    text = " ".join((parser.prog.replace("%", "%%"), *needed, "[OPTION ...]", *words))
    begin = len("usage: ")
    return "\n".join(filled(text, width, " " * begin, " " * begin)).lstrip()


def _place(argument: argparse.Action) -> str:
    name = str(argument.metavar or argument.dest)
    if isinstance(argument, SUBCOMMANDS):
        return f"[{name}]"
    return {"?": f"[{name}]", "*": f"[{name} ...]", "+": f"{name} [{name} ...]"}.get(
        str(argument.nargs), name
    )


def example_lines(command: str, width: int) -> list[str]:
    """A command for a shell, in lines of at most `width` columns if its words allow it."""
    lines = [""]
    for word in _WORD.findall(command):
        begun = f"{lines[-1]} {word}" if lines[-1].strip() else f"{lines[-1]}{word}"
        if len(begun) > width - 2 and lines[-1].strip():
            lines[-1] += " \\"
            lines.append(f"    {word}")
        else:
            lines[-1] = begun
    return lines


def ending(examples: Sequence[str], statuses: Sequence[str], width: int) -> str:
    """The end of a page: examples, and what the exit statuses mean."""
    rows = ["example:" if len(examples) == 1 else "examples:"]
    for example in examples:
        rows += [f"  {line}" for line in example_lines(example, width - 2)]
    return "\n".join([*rows, "", *filled(f"exit status: {'; '.join(statuses)}", width, rest="  "), ""])
