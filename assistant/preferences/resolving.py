"""Decides where the value of a setting comes from: option, environment, file, default, in this order."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Any

from assistant.errors import UsageProblem
from assistant.preferences.kinds import WholePath
from assistant.preferences.known import SETTINGS, Setting
from assistant.preferences.reading import judged

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.preferences.kinds import Value
    from assistant.preferences.reading import SettingsFile


class ComesFrom(Enum):
    """Where a value comes from."""

    OPTION = "option"
    ENVIRONMENT = "environment"
    FILE = "file"
    DEFAULT = "default"


@dataclass(frozen=True)
class Resolved:
    """A setting with the value that counts.

    Attributes:
        setting: The setting.
        value: Its value; None if there is none. An option that is given empty has "", which stands for none.
        origin: Where it comes from.
        place: The option, the variable or the line of the file; "" for a default.
    """

    setting: Setting
    value: Any
    origin: ComesFrom
    place: str = ""


def resolve(
    setting: Setting, typed: Mapping[str, Any], environment: Mapping[str, str], written: SettingsFile
) -> Resolved:
    """The value of one setting.

    Args:
        setting: The setting.
        typed: The parsed options; None stands for one that was not given.
        environment: The variables.
        written: The file.

    Raises:
        UsageProblem: The variable has a wrong value.
    """
    if setting.dest and typed.get(setting.dest) is not None:
        return Resolved(setting, typed[setting.dest], ComesFrom.OPTION, setting.option)
    if environment.get(setting.variable):
        text = environment[setting.variable]
        # Where the program is started is known here, unlike in a file; so a path need not be a whole one.
        is_path = isinstance(setting.kind, WholePath)
        value = text if is_path else from_text(setting, text, setting.variable)
        return Resolved(setting, value, ComesFrom.ENVIRONMENT, setting.variable)
    if setting.key in written.values:
        place = f"{written.path}:{written.lines[setting.key]}"
        return Resolved(setting, written.values[setting.key], ComesFrom.FILE, place)
    return Resolved(setting, setting.default, ComesFrom.DEFAULT)


def resolve_all(
    typed: Mapping[str, Any], environment: Mapping[str, str], written: SettingsFile
) -> dict[str, Resolved]:
    """All settings by key, in the order of the table; errors as for `resolve`."""
    return {setting.key: resolve(setting, typed, environment, written) for setting in SETTINGS}


def from_text(setting: Setting, text: str, named_by: str) -> Value:
    """A value from the text that somebody typed.

    Args:
        setting: What it is for.
        text: The text.
        named_by: Who gives it, for the message.

    Raises:
        UsageProblem: It cannot be a value of this setting.
    """
    found = setting.kind.read(text)
    value, wrong = judged(setting.key, found)
    if wrong is not None or value is None:
        problem, remedy = wrong or (f"{setting.key} is empty", f"Right would be {setting.kind.form}")
        raise UsageProblem(f"{named_by}: {problem}. {remedy}.")
    return value
