"""The work of `bay-assistant completion`: what completes each argument, and the script that shtab makes of it.

The parser is the only source. What an argument takes is known from its name or from the word that stands for its value
in the help page (``DIR``, ``FILE``, ``SESSION`` …), so a new option is completed as soon as it exists.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

import shtab

from assistant.commands.help_pages import SUBCOMMANDS
from assistant.commands.options import sessions_folder
from assistant.errors import BayAssistantError
from assistant.loading.folder import procedure_files
from assistant.loading.shop import procedures_in_use
from assistant.preferences.known import KNOWN

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST_SESSIONS = 50
"""Number of sessions that are offered, the newest ones."""

_ASKED = "bay-assistant completion --names {} 2>/dev/null"

_BY_WORD: dict[str, Any] = {
    "DIR": shtab.DIRECTORY,
    "FILE": shtab.FILE,
    "PLACE": shtab.FILE,
    "SESSION": shtab.cmd(_ASKED.format("sessions")),
    "PROCEDURE": shtab.cmd(_ASKED.format("procedures")),
    "KEY": shtab.cmd(_ASKED.format("settings")),
}
"""The completion of an argument, by the word that stands for its value on the help page."""

_BY_OPTION: dict[str, Any] = {
    "procedure": _BY_WORD["PROCEDURE"],
    "set": _BY_WORD["KEY"],
}
"""The completion of an argument by its name, where its word on the help page does not tell."""


def script(parser: argparse.ArgumentParser, shell: str) -> str:
    """The script for a shell, made from the parser of the whole command line."""
    _mark(parser, "")
    return shtab.complete(parser, shell)


def _mark(parser: argparse.ArgumentParser, command: str) -> None:
    """Tell shtab what completes each argument of a command and of those below it."""
    for action in parser._actions:  # noqa: SLF001  argparse lists them nowhere else
        if isinstance(action, SUBCOMMANDS):
            for name, below in action.choices.items():
                _mark(below, name)
        elif not action.choices:
            found = _completes(action, command)
            if found is not None:
                action.complete = found  # type: ignore[attr-defined]  # the attribute that shtab looks for


def _completes(action: argparse.Action, command: str) -> Any:
    if command == "procedures" and action.dest == "names":
        return _BY_WORD["PROCEDURE"]
    word = action.metavar if isinstance(action.metavar, str) else ""
    return _BY_OPTION.get(action.dest, _BY_WORD.get(word))


def names(kind: str) -> Iterator[str]:
    """The names of a kind, which a script asks for while somebody types; none if they cannot be known.

    Args:
        kind: ``procedures``, ``sessions`` or ``settings``.
    """
    try:
        if kind == "procedures":
            # The name of a file will do: reading them all would take ten times as long.
            yield from (path.stem for path in procedure_files(procedures_in_use()))
        elif kind == "sessions":
            yield "last"
            folder = sessions_folder(argparse.Namespace(sessions=None))
            found = [
                path.name for path in folder.iterdir() if path.is_dir() and not path.name.startswith(".")
            ]
            yield from sorted(found, reverse=True)[:MOST_SESSIONS]
        else:
            yield from KNOWN
    except (BayAssistantError, OSError):
        return
