"""Shared by the tests of the commands: a home of their own, a recorded session, and copies to be damaged."""

from __future__ import annotations

import shutil
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from calling import Piped, Refused, until_a_result

from assistant import resources


@pytest.fixture
def refused(capsys: pytest.CaptureFixture[str]) -> Refused:
    return Refused(capsys)


@pytest.fixture
def own_home(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No test sees or leaves anything in the person's own folders; no command leaves a signal handler behind."""
    home = tmp_path_factory.mktemp("home")
    monkeypatch.setenv("HOME", str(home))
    for variable in (
        "XDG_DATA_HOME",
        "XDG_STATE_HOME",
        "BAY_ASSISTANT_SESSIONS",
        "BAY_ASSISTANT_MODEL",
        "BAY_ASSISTANT_PROCEDURES",
        "BAY_ASSISTANT_SETTINGS",
    ):
        monkeypatch.delenv(variable, raising=False)
    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = [signal.getsignal(number) for number in numbers]
    yield
    assert before == [signal.getsignal(number) for number in numbers]


@pytest.fixture(scope="session")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A finished and sealed session, made once by the program itself."""
    sessions = tmp_path_factory.mktemp("recorded") / "sessions"
    program = Piped(
        "battery-and-cranking", "--sessions", sessions, "--order", "R-7", "--vin", "1m8gdm9a-xkp042788"
    )
    until_a_result(program)
    program.press("\r")
    program.wait_for("Crank it")
    program.press("8.5\r")
    program.wait_for("Yes or no")
    program.press("\r")
    program.wait_for("hands clear. Press Enter")
    program.press("\r")
    program.wait_for("Zero the clamp")
    program.press("+2")
    program.wait_for("Enter for yes, minus to undo")
    program.press("\r")
    program.wait_for("Enter to go ahead")
    program.press("q")
    assert (0, "") == program.ended()
    assert "closed" in program.text
    (folder,) = sessions.iterdir()
    return folder


@pytest.fixture
def session(recorded: Path, tmp_path: Path) -> Path:
    """A copy of that session, to be damaged."""
    return shutil.copytree(recorded, tmp_path / "sessions" / recorded.name)


@pytest.fixture
def procedures(tmp_path: Path) -> Path:
    return shutil.copytree(resources.directory("procedures"), tmp_path / "procedures")


@pytest.fixture
def grammars(tmp_path: Path) -> Path:
    return shutil.copytree(resources.directory("grammars"), tmp_path / "grammars")


@pytest.fixture
def model(tmp_path: Path) -> Path:
    """A copy of the bundled model."""
    return shutil.copytree(resources.bundled_model(), tmp_path / "model")
