"""The user's folders: the home folder, and ``~`` in paths."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.errors import UsageProblem

if TYPE_CHECKING:
    from collections.abc import Mapping


def home() -> Path:
    """The user's home folder.

    Raises:
        UsageProblem: The system does not know it.
    """
    try:
        return Path.home()
    except RuntimeError:
        raise UsageProblem(
            "The home folder is not known: the variable HOME is not set, and the system has no user of this "
            "number. Set HOME to a folder."
        ) from None


def state_folder(environment: Mapping[str, str] = os.environ) -> Path:
    """The program's own folder for files besides the sessions: messages, traces, records that had to move.

    ``bay-assistant`` under ``$XDG_STATE_HOME`` or ``~/.local/state`` (XDG Base Directory Specification: a relative path
    there is ignored).

    Raises:
        UsageProblem: The home folder is needed and unknown.
    """
    state = environment.get("XDG_STATE_HOME", "")
    base = Path(state) if state.startswith("/") else home() / ".local" / "state"
    return base / "bay-assistant"


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


def settings_folder(environment: Mapping[str, str] = os.environ) -> Path:
    """The folder for what the user has set and taught: the learnt voices.

    ``bay-assistant`` under ``$XDG_CONFIG_HOME`` or ``~/.config`` (XDG Base Directory Specification, as above).

    Raises:
        UsageProblem: The home folder is needed and unknown.
    """
    config = environment.get("XDG_CONFIG_HOME", "")
    base = Path(config) if config.startswith("/") else home() / ".config"
    return base / "bay-assistant"
