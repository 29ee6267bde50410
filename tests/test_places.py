"""The user's folders, against platformdirs and the XDG Base Directory Specification 0.8."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import platformdirs
import pytest

from assistant import places
from assistant.errors import UsageProblem

FOLDERS: list[tuple[str, str, Callable[[], Path]]] = [
    ("XDG_CONFIG_HOME", ".config/bay-assistant", places.settings_folder),
    ("XDG_DATA_HOME", ".local/share/bay-assistant/sessions", places.sessions_folder),
    ("XDG_STATE_HOME", ".local/state/bay-assistant", places.state_folder),
    ("XDG_CACHE_HOME", ".cache/bay-assistant/speech", lambda: places.cache_folder("speech")),
]
"""The variable of the specification, its default under the home folder, and our folder there."""


@pytest.fixture(autouse=True)
def _nothing_set(monkeypatch: pytest.MonkeyPatch) -> None:
    for variable, _, _ in FOLDERS:
        monkeypatch.delenv(variable, raising=False)
    for variable in (places.SESSIONS_VARIABLE, places.SETTINGS_VARIABLE):
        monkeypatch.delenv(variable, raising=False)


@pytest.mark.parametrize(("variable", "default", "folder"), FOLDERS)
def test_a_folder_is_where_the_specification_says(
    variable: str, default: str, folder: Callable[[], Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An absolute path counts; without one, or with a relative one, it is the default in the home folder.

    "All paths set in these environment variables must be absolute. If an implementation encounters a relative path in
    any of these variables it should consider the path invalid and ignore it."
    """
    monkeypatch.setenv("HOME", str(tmp_path))
    assert tmp_path / default == folder()
    for relative in ("", "relative", "./here", "../up"):
        monkeypatch.setenv(variable, relative)
        assert tmp_path / default == folder()
    monkeypatch.setenv(variable, "/srv/some")
    assert Path("/srv/some", *Path(default).parts[Path(default).parts.index("bay-assistant") :]) == folder()


def test_the_folders_are_those_of_platformdirs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On every system the folders are those that platformdirs names for this program."""
    monkeypatch.setenv("HOME", str(tmp_path))
    for ours, theirs in (
        (places.settings_folder(), platformdirs.user_config_path("bay-assistant", False)),
        (places.sessions_folder().parent, platformdirs.user_data_path("bay-assistant", False)),
        (places.state_folder(), platformdirs.user_state_path("bay-assistant", False)),
        (places.cache_folder("speech").parent, platformdirs.user_cache_path("bay-assistant", False)),
    ):
        assert theirs == ours


def test_our_own_variables_come_first(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A folder of sessions or a file of settings that is named is taken, with ``~`` replaced."""
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_DATA_HOME", "/elsewhere")
    monkeypatch.setenv(places.SESSIONS_VARIABLE, "~/jobs")
    monkeypatch.setenv(places.SETTINGS_VARIABLE, "/srv/bay.toml")
    assert tmp_path / "jobs" == places.sessions_folder()
    assert Path("/srv/bay.toml") == places.settings_file()
    monkeypatch.delenv(places.SETTINGS_VARIABLE)
    assert tmp_path / ".config/bay-assistant/settings.toml" == places.settings_file()


def test_a_user_without_a_home_folder_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """A user number that the system does not know, and no HOME: one sentence, and speech is kept nowhere of note."""
    monkeypatch.delenv("HOME")

    def unknown(_number: int) -> None:
        raise KeyError

    monkeypatch.setattr("pwd.getpwuid", unknown)
    for folder in (places.settings_folder, places.sessions_folder, places.state_folder):
        with pytest.raises(UsageProblem, match="Set HOME to a folder"):
            folder()
    assert "no-home" in str(places.cache_folder("speech"))


def test_a_named_folder_may_begin_with_a_home_folder(monkeypatch: pytest.MonkeyPatch) -> None:
    """``~`` and ``~/`` are replaced; a user who does not exist and a null character are refused by name."""
    monkeypatch.setenv("HOME", "/home/one")
    assert Path("/home/one/jobs") == places.expanded("~/jobs", "--sessions")
    for wrong, told in (("~nobody-of-this-name/x", "Write the whole path"), ("a\0b", "null character")):
        with pytest.raises(UsageProblem, match=told):
            places.expanded(wrong, "--sessions")
    assert os.environ["HOME"] == "/home/one"
