"""The files of learnt voices: one for each technician in the settings folder, which only the user can read."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING
from urllib.parse import quote

from assistant import files, places
from assistant.errors import MALFORMED, UsageProblem
from assistant.learning.learnt import Learnt, parse_learnt
from assistant.record.storage import make_private_folder, sync_folder, write_file

if TYPE_CHECKING:
    from pathlib import Path

FOLDER = "voices"
"""Name of the folder of learnt voices in the settings folder."""

NOBODY = "technician"
"""Name of a voice that was learnt without a name."""

LONGEST_NAME = 60
"""Most letters of a technician's name."""


def voices_folder() -> Path:
    """The folder of the learnt voices, which need not exist."""
    return places.settings_folder() / FOLDER


def file_of(technician: str) -> Path:
    """The file of a technician; capitals and spaces around the name make no difference.

    Raises:
        UsageProblem: The name is empty or too long.
    """
    name = " ".join(technician.split())
    if not name or len(name) > LONGEST_NAME:
        raise UsageProblem(f"The name of a technician has 1 to {LONGEST_NAME} letters. Give another name.")
    safe = quote(name.casefold().encode("utf-8", "backslashreplace"), safe=" ").replace(" ", "-")
    return voices_folder() / f"{safe.replace('.', '%2E')}.json"


def read(technician: str) -> Learnt | None:
    """What is known of a technician; None if nothing is.

    Raises:
        UsageProblem: The file cannot be read, or is damaged.
    """
    return _read(file_of(technician))


def every() -> list[Learnt]:
    """All that is known, by name; a file that cannot be read is left out."""
    found = []
    for path in sorted(voices_folder().glob("*.json")):
        with contextlib.suppress(UsageProblem):
            learnt = _read(path)
            if learnt is not None:
                found.append(learnt)
    return found


def _read(path: Path) -> Learnt | None:
    try:
        data = files.read_bytes(path, files.SETTINGS)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise UsageProblem(f"The learnt voice {path} cannot be read: {error.strerror or error}.") from error
    try:
        return parse_learnt(data)
    except MALFORMED as error:
        raise UsageProblem(
            f"The learnt voice {path} is damaged: {error}. Remove the file, and learn the voice again."
        ) from error


def keep(learnt: Learnt) -> Path:
    """Write what is known of a technician, whole or not at all; returns the file.

    Raises:
        UsageProblem: The name cannot be used, or the folder cannot be made.
        RecordProblem: The file cannot be written.
    """
    path = file_of(learnt.technician)
    try:
        make_private_folder(path.parent)
    except OSError as error:
        raise UsageProblem(
            f"The settings folder {path.parent} cannot be made: {error.strerror or error}."
        ) from error
    write_file(path, learnt.to_bytes())
    return path


def forget(technician: str) -> bool:
    """Throw away what is known of a technician; False if nothing was.

    Raises:
        UsageProblem: The file cannot be removed.
    """
    path = file_of(technician)
    try:
        path.unlink()
        sync_folder(path.parent)
    except FileNotFoundError:
        return False
    except OSError as error:
        raise UsageProblem(f"{path} cannot be removed: {error.strerror or error}.") from error
    return True
