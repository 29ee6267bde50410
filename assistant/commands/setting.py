"""The work of `bay-assistant settings`."""

from __future__ import annotations

import json
import os
import shutil
import sys
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant import places
from assistant.commands import run as run_command
from assistant.commands.arguments import CommandParser
from assistant.commands.console import report
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


def change(to_set: Sequence[Sequence[str]], to_unset: Sequence[str]) -> int:
    """Set these and take those out; either all of them are right, or nothing is changed.

    Raises:
        UsageProblem, FileProblem, RecordProblem: As for the command.
    """
    orders: list[tuple[str, Value | None]] = []
    written = keeping.load()
    for key, text in to_set:
        setting = _named(key)
        orders.append((key, from_text(setting, text, f"--set {key}")))
    for key in to_unset:
        if key not in written.lines:
            _named(key)  # a key that stands in the file may be wrong, and is then taken out
        orders.append((key, None))
    path = places.settings_file()
    for key, value in orders:
        path = keeping.change(key, value)
    print(in_line(f"Written: {path}"), file=sys.stderr)
    for problem in keeping.load().problems:
        print(in_line(f"Still wrong: {problem}"), file=sys.stderr)
    return 0


def _named(key: str) -> Setting:
    setting = setting_of(key)
    if setting is None:
        raise UsageProblem(f"There is no setting '{key}'. {meant(key)}.")
    return setting


def show_path(*, as_json: bool) -> int:
    """Print where the file is, which need not exist."""
    path = str(places.settings_file())
    print(json.dumps({"path": path}) if as_json else in_line(path))
    return 0


def check(*, as_json: bool) -> int:
    """Print every mistake in the file, and folders and files that it names and that are not there."""
    written = keeping.load()
    findings = [*written.problems, *_missing(written)]
    count = len(written.values)
    good = f"{written.path}: {count} setting{'' if count == 1 else 's'}, no mistake."
    return report(findings, good, as_json=as_json)


def _missing(written: SettingsFile) -> Iterator[Finding]:
    for key, value in written.values.items():
        setting = setting_of(key)
        if (
            setting is None or not isinstance(setting.kind, WholePath) or key == "sessions"
        ):  # it is made when needed
            continue
        line = written.lines[key]
        try:
            path = places.expanded(str(value), key)
        except UsageProblem as problem:
            yield Finding(written.path, line, str(problem).rstrip("."))
            continue
        if not path.exists():
            yield Finding(written.path, line, f"{key} names {path}, which does not exist")


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
    written = keeping.load()
    written.check()
    found = resolve_all(typed, os.environ, written)
    if as_json:
        rows = [_row(one) for one in found.values()]
        print(json.dumps({"path": written.path, "settings": rows, PEOPLE: written.people()}, indent=2))
        return 0
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else 100
    for line in _lines(list(found.values()), written, width):
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


def _lines(found: Sequence[Resolved], written: SettingsFile, width: int) -> Iterator[str]:
    """The settings for a person, those that say something about the shop first."""
    yield in_line(f"{written.path}{'' if Path(written.path).exists() else ' (not there yet)'}")
    yield ""
    for one in found:
        yield from _told(one.setting.key, _said(one), _whence(one), width)
    people = written.people()
    for initials, name in people.items():
        key = f"{PEOPLE}.{initials}"
        yield from _told(key, name, f"file, line {written.lines[key]}", width)
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
