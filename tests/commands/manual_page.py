"""Makes the man page from the parser. After a change of commands or options, write it again with

    python tests/commands/manual_page.py

argparse-manpage makes most of it. Three things are mended here: it says the purpose of each command twice, calls the
list of commands "arguments", and leaves an apostrophe at the start of a line as it is, which troff takes for a command
and drops the line (groff_man(7): a line that begins with a dot or an apostrophe is a request).
"""

from __future__ import annotations

import datetime as dt
import os
import re
from pathlib import Path

from argparse_manpage.manpage import Manpage

from assistant import __version__, commands
from assistant.commands.arguments import CommandParser
from assistant.commands.help_pages import SUBCOMMANDS, example_lines

PAGE = Path(__file__).resolve().parents[2] / "assistant" / "commands" / "bay-assistant.1"

_REQUEST = re.compile(r"\.(TH|SH|SS|TP|RS|RE|B|PP|nf|fi)\b")
_HEAD = re.compile(r'^\.TH \S+ "1" "([^"]*)"', re.MULTILINE)
_USAGE = re.compile(r"^usage: (.*(?:\n +.*)*)", re.MULTILINE)

SECTIONS = {
    "environment": (
        ("BAY_ASSISTANT_SETTINGS", "another file of settings"),
        ("BAY_ASSISTANT_SESSIONS", "another folder of sessions"),
        ("BAY_ASSISTANT_PROCEDURES", "the shop's own folder of procedures"),
        ("BAY_ASSISTANT_MODEL", "another model for the recogniser"),
    ),
    "files": (
        ("~/.config/bay-assistant/settings.toml", "the settings"),
        ("~/.local/share/bay-assistant/sessions", "the sessions"),
    ),
}


def page(date: str) -> str:
    """The page.

    Args:
        date: The day that it bears, as 2026-11-29.
    """
    os.environ["COLUMNS"] = "80"  # argparse fills its usage to the terminal
    parser = commands.parser()
    parser._positionals.title = "commands"
    _say_once(parser)
    manual = Manpage(
        parser,
        format="single-commands-section",
        _data={
            "date": date,
            "project_name": "bay-assistant",
            "version": __version__,
            "manual_title": "User Commands",
            "description": "hands-free, offline helper for no-spark diagnosis with a test lamp",
        },
    )
    statuses = [tuple(status.split(" ", 1)) for status in parser.statuses]
    for heading, rows in {"exit status": statuses, **SECTIONS}.items():
        manual.add_section(
            heading, ">", "\n".join(f".TP\n.B {_plain(word)}\n{about}" for word, about in rows)
        )
    examples = "\n".join(f"{_plain(line)}" for one in _examples(parser) for line in example_lines(one, 72))
    manual.add_section("examples", ">", f".nf\n{examples}\n.fi")
    text = _USAGE.sub(lambda found: f".B {' '.join(found[1].split())}", str(manual))
    text = text.replace(date.replace("-", r"\-"), date)  # mandoc knows no date with escaped dashes
    return "\n".join(_harmless(line) for line in text.split("\n"))


def _say_once(parser: CommandParser) -> None:
    for action in parser._actions:
        if isinstance(action, SUBCOMMANDS):
            for below in action.choices.values():
                below.description = None
                _say_once(below)


def _examples(parser: CommandParser) -> list[str]:
    found = list(parser.examples[:1])
    for action in parser._actions:
        if isinstance(action, SUBCOMMANDS):
            found += [example for below in action.choices.values() for example in below.examples]
    return list(dict.fromkeys(found))


def _plain(text: str) -> str:
    return text.replace("\\", "\\e").replace("-", r"\-")


def _harmless(line: str) -> str:
    return (
        rf"\&{line}" if line.startswith("'") or (line.startswith(".") and not _REQUEST.match(line)) else line
    )


def date_of(text: str) -> str:
    """The day that a page bears."""
    found = _HEAD.search(text)
    return found[1].replace("\\", "") if found else ""


if __name__ == "__main__":
    PAGE.write_text(page(f"{dt.datetime.now(dt.UTC):%Y-%m-%d}"), encoding="utf-8")
    print(f"Written: {PAGE}")
