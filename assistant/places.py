"""The user's folders: the home folder, the program's own folders in it, and ``~`` in paths.

platformdirs names the folders, so each system has them where its users look for them. On Linux they are those of the
XDG Base Directory Specification, in which a variable that holds a relative path counts as not set.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from platformdirs import PlatformDirs

from assistant.errors import UsageProblem

if TYPE_CHECKING:
    from collections.abc import Callable

_DIRS = PlatformDirs("bay-assistant", appauthor=False)

SESSIONS_VARIABLE = "BAY_ASSISTANT_SESSIONS"
"""The variable that names another folder of sessions."""

SETTINGS_VARIABLE = "BAY_ASSISTANT_SETTINGS"
"""The variable that names another file of settings."""

_NO_HOME = (
    "The home folder is not known: the variable HOME is not set, and the system has no user of this "
    "number. Set HOME to a folder."
)


def _own(named: Callable[[], str]) -> Path:
    """One of our folders.

    Raises:
        UsageProblem: The home folder is needed and unknown.
    """
    try:
        path = Path(named())
    except RuntimeError:
        raise UsageProblem(_NO_HOME) from None
    if not path.is_absolute():
        raise UsageProblem(_NO_HOME)
    return path


def state_folder() -> Path:
    """The folder for files besides the sessions: messages, traces, records that had to move.

    On Linux ``bay-assistant`` under ``$XDG_STATE_HOME`` or ``~/.local/state``.

    Raises:
        UsageProblem: The home folder is needed and unknown.
    """
    return _own(lambda: _DIRS.user_state_dir)


def settings_folder() -> Path:
    """The folder for what the user has set and taught: the settings, and the learnt voices.

    On Linux ``bay-assistant`` under ``$XDG_CONFIG_HOME`` or ``~/.config``.

    Raises:
        UsageProblem: The home folder is needed and unknown.
    """
    return _own(lambda: _DIRS.user_config_dir)


def settings_file() -> Path:
    """The file of settings, which need not exist: ``$BAY_ASSISTANT_SETTINGS``, else in the folder of settings.

    Raises:
        UsageProblem: The home folder is needed and unknown.
    """
    named = os.environ.get(SETTINGS_VARIABLE)
    return expanded(named, SETTINGS_VARIABLE) if named else settings_folder() / "settings.toml"


def sessions_folder() -> Path:
    """The default folder of sessions: ``$BAY_ASSISTANT_SESSIONS``, else ``sessions`` in the folder of the user's data.

    On Linux ``bay-assistant/sessions`` under ``$XDG_DATA_HOME`` or ``~/.local/share``.

    Raises:
        UsageProblem: The home folder is needed and unknown.
    """
    named = os.environ.get(SESSIONS_VARIABLE)
    return expanded(named, SESSIONS_VARIABLE) if named else _own(lambda: _DIRS.user_data_dir) / "sessions"


def cache_folder(name: str) -> Path:
    """A folder for what can be made again: on Linux under ``$XDG_CACHE_HOME`` or ``~/.cache``.

    Without a home folder it is a place that cannot be written, which will do: what is kept there is then made anew.
    """
    try:
        return _own(lambda: _DIRS.user_cache_dir) / name
    except UsageProblem:
        return Path(tempfile.gettempdir()) / "no-home" / "cache" / "bay-assistant" / name


def expanded(text: str, named_by: str) -> Path:
    """A path with ``~`` replaced by a home folder.

    Args:
        text: The path.
        named_by: Source of the path, for the error.

    Raises:
        UsageProblem: The user after ``~`` does not exist, or the path has a null character.
    """
    if "\0" in text:
        raise UsageProblem(f"{named_by} names a path with a null character, which no path has.")
    try:
        return Path(text).expanduser()
    except RuntimeError:
        raise UsageProblem(
            f"{named_by} names {text}, and no home folder of '{text.partition('/')[0]}' is known. "
            "Write the whole path."
        ) from None
