"""A session and a folder of sessions as they are named on the command line."""

from __future__ import annotations

from pathlib import Path

import pytest
from calling import KEYS_ONLY, Refused

pytestmark = pytest.mark.usefixtures("own_home")


def test_a_file_is_no_folder_of_sessions(refused: Refused, tmp_path: Path) -> None:
    """Naming a file where sessions should be is refused, not shown as "none"."""
    (tmp_path / "file").touch()
    for arguments in (("sessions",), ("verify", "last"), ("run", *KEYS_ONLY)):
        assert "is a file" in refused(*arguments, "--sessions", tmp_path / "file")


@pytest.mark.parametrize("command", ["verify", "writeup", "replay"])
def test_what_is_no_session_is_refused(refused: Refused, tmp_path: Path, command: str) -> None:
    """A folder without a header, a name that does not exist, and "last" where there is none."""
    assert "is not a session" in refused(command, tmp_path)
    where = ("--sessions", tmp_path / "sessions")
    assert "bay-assistant sessions" in refused(command, "nonesuch", *where)
    assert "no sessions" in refused(command, "last", *where)
