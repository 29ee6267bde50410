"""The file of settings on the disk: only its owner can read it, and nobody ever sees half of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant import files, places
from assistant.errors import FileProblem, UsageProblem
from assistant.preferences.reading import MOST_BYTES, SettingsFile, read
from assistant.record.storage import make_private_folder, write_file

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.preferences.kinds import Value


def load() -> SettingsFile:
    """The settings of this user; without a file there are none.

    Raises:
        FileProblem: The file cannot be read.
        UsageProblem: The home folder is needed and unknown.
    """
    path = places.settings_file()
    return read(_text(path), str(path))


def change(key: str, value: Value | None) -> Path:
    """Set a setting, or take it out with None; returns the file.

    Raises:
        FileProblem: The file cannot be read, or is no TOML, so nothing can be changed in it.
        UsageProblem: Its folder cannot be made.
        RecordProblem: It cannot be written.
    """
    from assistant.preferences.writing import changed  # noqa: PLC0415  only who writes needs it

    path = places.settings_file()
    text = _text(path)
    before = read(text, str(path))
    if before.broken:
        before.check()
    path = path.resolve()  # a link, as to a folder with all of a user's settings, stays one
    try:
        make_private_folder(path.parent)
    except OSError as error:
        raise UsageProblem(f"The folder {path.parent} cannot be made: {error.strerror or error}.") from error
    write_file(path, changed(text, key, value).encode("utf-8"))
    return path


def _text(path: Path) -> str:
    try:
        return files.read_text(path, MOST_BYTES)
    except (FileNotFoundError, NotADirectoryError):
        return ""
    except UnicodeDecodeError:
        raise FileProblem(path, 0, "the settings are not UTF-8", "Save the file as UTF-8") from None
    except OSError as error:
        raise FileProblem(path, 0, f"the settings cannot be read: {error.strerror or error}") from error
