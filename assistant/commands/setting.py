"""The work of `bay-assistant settings`."""

from __future__ import annotations

import os
import shutil
import sys
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant import places
from assistant.commands import run as run_command
from assistant.commands.arguments import CommandParser
from assistant.commands.console import print_json, remark, report, written
from assistant.core.values.finding import Finding
from assistant.errors import UsageProblem
from assistant.preferences import keeping
from assistant.preferences.kinds import WholePath
from assistant.preferences.known import PEOPLE, Setting, meant, setting_of
from assistant.preferences.resolving import ComesFrom, from_text, resolve_all
from assistant.printing import in_line

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from assistant.preferences.kinds import Value
    from assistant.preferences.reading import SettingsFile
    from assistant.preferences.resolving import Resolved


def change(to_set: Sequence[Sequence[str]], to_unset: Sequence[str], *, as_json: bool = False) -> int:
    """Set these and take those out; either all of them are right, or nothing is changed.

    Args:
        to_set: Keys, each with its value.
        to_unset: Keys that are taken out.
        as_json: Whether to print what was done as JSON.

    Raises:
        UsageProblem, FileProblem, RecordProblem: As for the command.
    """
    orders: list[tuple[str, Value | None]] = []
    there = keeping.load().lines
    for key, text in to_set:
        setting = _named(key)
        orders.append((key, from_text(setting, text, f"--set {key}")))
    for key in to_unset:
        if key not in there:
            _named(key)  # a key that stands in the file may be wrong, and is then taken out
        orders.append((key, None))
    path = places.settings_file()
    for key, value in orders:
        path = keeping.change(key, value)
    left = keeping.load().problems
    if as_json:
        print_json(
            {
                "written": [str(path)],
                "set": [key for key, value in orders if value is not None],
                "unset": [key for key, value in orders if value is None],
                "still_wrong": [str(problem) for problem in left],
            }
        )
    written(path)
    for problem in left:
        remark(f"Still wrong: {problem}")
    return 0


def _named(key: str) -> Setting:
    setting = setting_of(key)
    if setting is None:
        raise UsageProblem(f"There is no setting '{key}'. {meant(key)}.")
    return setting


def show_path(*, as_json: bool) -> int:
    """Print where the file is, which need not exist."""
    path = str(places.settings_file())
    if as_json:
        print_json({"path": path})
    else:
        print(in_line(path))
    return 0


def check(*, as_json: bool) -> int:
    """Print every mistake in the file, and folders and files that it names and that are not there."""
    file = keeping.load()
    findings = [*file.problems, *_missing(file)]
    count = len(file.values)
    good = f"{file.path}: {count} setting{'' if count == 1 else 's'}, no mistake."
    return report(findings, good, as_json=as_json)


def _missing(file: SettingsFile) -> Iterator[Finding]:
    for key, value in file.values.items():
        setting = setting_of(key)
        if (
            setting is None or not isinstance(setting.kind, WholePath) or key == "sessions"
        ):  # it is made when needed
            continue
        line = file.lines[key]
        try:
            path = places.expanded(str(value), key)
        except UsageProblem as problem:
            yield Finding(file.path, line, str(problem).rstrip("."))
            continue
        if not path.exists():
            yield Finding(file.path, line, f"{key} names {path}, which does not exist")


def show(run_options: Sequence[str], *, as_json: bool) -> int:
    """Print every setting with its value and where that comes from.

    Args:
        run_options: Options of `run` that would be given.
        as_json: Whether to print JSON.

    Raises:
        UsageProblem: A variable has a wrong value.
        FileProblem: The file has a mistake.
    """
    parser = CommandParser(prog="bay-assistant run")
    run_command.add(parser)
    typed = vars(parser.parse_args(list(run_options)))
    file = keeping.load()
    file.check()
    found = resolve_all(typed, os.environ, file)
    if as_json:
        rows = [_row(one) for one in found.values()]
        print_json({"path": file.path, "settings": rows, PEOPLE: file.people()})
        return 0
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else 100
    for line in _lines(list(found.values()), file, width):
        print(line)
    return 0


def _row(one: Resolved) -> dict[str, Any]:
    setting = one.setting
    return {
        "key": setting.key,
        "value": str(one.value) if isinstance(one.value, Path) else one.value,
        "from": one.origin.value,
        "place": one.place,
        "option": setting.option,
        "variable": setting.variable,
        "about": setting.about,
        "right": setting.kind.form,
    }


_KEY, _VALUE = 16, 30
"""Columns for the key and for the value."""


def _lines(found: Sequence[Resolved], file: SettingsFile, width: int) -> Iterator[str]:
    """The settings for a person, those that say something about the shop first."""
    yield in_line(f"{file.path}{'' if Path(file.path).exists() else ' (not there yet)'}")
    yield ""
    for one in found:
        yield from _told(one.setting.key, _said(one), _whence(one), width)
    people = file.people()
    for initials, name in people.items():
        key = f"{PEOPLE}.{initials}"
        yield from _told(key, name, f"file, line {file.lines[key]}", width)
    if not people:
        yield from _told(f"{PEOPLE}.XX", "nobody", "default", width)
    yield ""
    yield "Change one: bay-assistant settings --set KEY VALUE. Meaning of the keys: bay-assistant settings --json"


def _told(key: str, value: str, whence: str, width: int) -> Iterator[str]:
    first = f"{key:<{_KEY}}  "
    rows = textwrap.wrap(in_line(value), max(width - len(first) - 24, 20)) or [""]
    yield f"{first}{rows[0]:<{_VALUE}}  {in_line(whence)}".rstrip()
    for row in rows[1:]:
        yield f"{'':<{len(first)}}{row}"


def _said(one: Resolved) -> str:
    if one.value is None or one.value == "":
        return one.setting.otherwise
    if isinstance(one.value, bool):
        return "yes" if one.value else "no"
    unit = getattr(one.setting.kind, "unit", "")
    return f"{str(one.value).replace(chr(10), ', ')} {unit}".rstrip()


def _whence(one: Resolved) -> str:
    if one.origin is ComesFrom.FILE:
        return f"file, line {one.place.rpartition(':')[2]}"
    return one.origin.value if one.origin is ComesFrom.DEFAULT else f"{one.origin.value} {one.place}"
