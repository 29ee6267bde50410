"""Reads the text of the file of settings: values, and every mistake with its line and the cure."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from assistant.core.values.finding import Finding
from assistant.errors import FileProblem
from assistant.preferences.kinds import Value, shown
from assistant.preferences.known import PEOPLE, TABLES, meant, meant_table, setting_of

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST_BYTES = 16 << 10
"""Largest file of settings that is read: far more than anyone writes by hand (16 KiB)."""

MOST_LINES = 40
"""Most lines of one value: ten times the longest that means anything, an address.

The end of a value is found by trying, and each try reads all its lines again, so a value without a bound on its lines
would take the square of their number.
"""

_CLOSING = re.compile(r"[\]}'\"]")
"""Signs that can end a value of several lines; a line without one is not worth a try."""

_PLACE = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)$")


@dataclass(frozen=True)
class SettingsFile:
    """A file of settings as it was read.

    Attributes:
        path: Its name in messages.
        values: The right values by key.
        lines: The line of each key that stands in it, also of wrong ones.
        problems: Its mistakes, in order.
        broken: Whether it is no TOML at all, so that nothing in it is known.
    """

    path: str
    values: Mapping[str, Value] = field(default_factory=dict)
    lines: Mapping[str, int] = field(default_factory=dict)
    problems: tuple[Finding, ...] = ()
    broken: bool = False

    def check(self) -> None:
        """Refuse a file with a mistake.

        Raises:
            FileProblem: It has one; the error names the first.
        """
        self._refuse(self.problems)

    def check_key(self, key: str) -> None:
        """Refuse the file if nothing is known of this key because of a mistake.

        Raises:
            FileProblem: The key is wrong, or the file cannot be read at all.
        """
        line = self.lines.get(key, 0)
        self._refuse([one for one in self.problems if self.broken or (line and one.line == line)])

    @staticmethod
    def _refuse(problems: tuple[Finding, ...] | list[Finding]) -> None:
        if problems:
            one = problems[0]
            raise FileProblem(one.path, one.line, one.problem, one.remedy)

    def people(self) -> dict[str, str]:
        """Names of the technicians by their initials."""
        start = f"{PEOPLE}."
        return {
            key.removeprefix(start): str(value) for key, value in self.values.items() if key.startswith(start)
        }


@dataclass(frozen=True)
class TomlStatement:
    """A statement of a TOML file: the head of a table, or a key with its value.

    Attributes:
        first: Its first line, from 1.
        last: Its last line.
        table: The table that it opens or stands in; () for none.
        opens: Whether it is the head of a table.
        text: Its lines.
    """

    first: int
    last: int
    table: tuple[str, ...]
    opens: bool
    text: str


class TooManyLines(ValueError):
    """A value has more than `MOST_LINES` lines.

    Args:
        line: Its first line.
    """

    def __init__(self, line: int) -> None:
        self.line = line
        super().__init__(f"the value in line {line} has more than {MOST_LINES} lines")


def statements(text: str) -> Iterator[TomlStatement]:
    """The statements of a text that is TOML as a whole.

    A statement is over as soon as its lines are TOML by themselves, because an open bracket or quotation mark is not.

    Raises:
        TooManyLines: A value has more lines than any setting needs.
    """
    table: tuple[str, ...] = ()
    lines = text.split("\n")
    first = 0
    while first < len(lines):
        if not lines[first].strip() or lines[first].lstrip().startswith("#"):
            first += 1
            continue
        last = first
        while True:
            piece = "\n".join(lines[first : last + 1])
            try:
                found = tomllib.loads(piece)
                break
            except tomllib.TOMLDecodeError:
                last += 1
                while last < len(lines) - 1 and not _CLOSING.search(lines[last]):
                    last += 1
                if last - first >= MOST_LINES:
                    raise TooManyLines(first + 1) from None
                if last >= len(lines):
                    raise
        opens = lines[first].lstrip().startswith("[")
        if opens:
            table = tuple(_heads(found))
        yield TomlStatement(first + 1, last + 1, table, opens, piece)
        first = last + 1


def _heads(found: Any) -> Iterator[str]:
    while found:
        found = found[0] if isinstance(found, list) else found
        if not found:
            return
        ((name, found),) = found.items()
        yield name


def paths(found: Mapping[str, Any], before: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every key of nested tables with its value; an empty table is a value."""
    for name, value in found.items():
        if isinstance(value, dict) and value:
            yield from paths(value, (*before, name))
        else:
            yield (*before, name), value


def read(text: str, path: str) -> SettingsFile:
    """The settings in a text.

    Args:
        text: The text of the file, with plain line ends.
        path: Its name in messages.
    """
    try:
        tomllib.loads(text)
        every = tuple(statements(text))
    except TooManyLines as error:
        return SettingsFile(path, problems=(_too_long(error, path),), broken=True)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        return SettingsFile(path, problems=(_no_toml(str(error), text, path),), broken=True)
    values: dict[str, Value] = {}
    lines: dict[str, int] = {}
    problems = []
    for statement in every:
        if statement.opens:
            problems += _wrong_table(statement, path)
            continue
        for parts, value in paths(tomllib.loads(statement.text)):
            key = ".".join((*statement.table, *parts))
            lines[key] = statement.first
            right, wrong = judged(key, value)
            if wrong is None and right is not None:
                values[key] = right
            elif wrong is not None and statement.table[:1] in ((), *((name,) for name in TABLES)):
                problems.append(Finding(path, statement.first, *wrong))
    return SettingsFile(path, values, lines, tuple(problems))


def judged(key: str, value: object) -> tuple[Value | None, tuple[str, str] | None]:
    """A value as it counts, or the problem with it and the cure, each a sentence without its full stop."""
    setting = setting_of(key)
    if setting is None:
        if key in TABLES and not isinstance(value, dict):
            return None, (f"'{key}' is a table, not a setting", f"Write [{key}] on a line of its own")
        if key in TABLES:
            return None, None
        return None, (f"there is no setting '{key}'", meant(key))
    try:
        return setting.kind.checked(value), None
    except ValueError as error:
        why = f" ({error})" if str(error) else ""
        return None, (f"{key} is {shown(value)}{why}", f"Right would be {setting.kind.form}")


def _wrong_table(statement: TomlStatement, path: str) -> list[Finding]:
    name = ".".join(statement.table)
    if name in TABLES and not statement.text.lstrip().startswith("[["):
        return []
    if name in TABLES:
        return [Finding(path, statement.first, f"[[{name}]] makes a list of tables", f"Write [{name}]")]
    return [Finding(path, statement.first, f"there is no table '{name}'", meant_table(name))]


def _too_long(error: TooManyLines, path: str) -> Finding:
    return Finding(
        path,
        error.line,
        f"this value goes on for more than {MOST_LINES} lines, and no setting is that long",
        "A setting is one value, and a file of settings holds nothing else; 'bay-assistant settings' shows them all",
    )


def _no_toml(error: str, text: str, path: str) -> Finding:
    found = _PLACE.search(error)
    line = int(found.group(1)) if found and found.group(1) else max(1, len(text.rstrip("\n").split("\n")))
    what = _PLACE.sub("", error)
    return Finding(
        path,
        line,
        f"this is not TOML ({what[:1].lower()}{what[1:]})",
        'A setting is written as KEY = VALUE, with text in quotation marks: voice = "heart"',
    )
