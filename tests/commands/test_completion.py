"""Tab in real shells, each at a terminal of its own, with the script that the command prints."""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import re
import select
import shutil
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from calling import call

from assistant.commands import COMMANDS

pytestmark = pytest.mark.usefixtures("own_home")

LONGEST_S = 30
"""Time after which a shell that has not answered has failed; a loaded machine needs some seconds."""

STARTS = {
    "bash": ["bash", "--norc", "--noprofile", "-i"],
    "zsh": ["zsh", "-f", "-i"],
    "fish": ["fish", "--no-config", "-i"],
}
READIES = {
    "bash": 'eval "$(bay-assistant completion bash)"',
    "zsh": 'autoload -U compinit; compinit -u -D; eval "$(bay-assistant completion zsh)"',
    "fish": "bay-assistant completion fish | source",
}
"""What a user puts into the shell's own file."""

SIGNS = re.compile(
    r"\x1b\[[0-9;?=>]*[A-Za-z]|\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)|\x1b[=>()][0-9A-Z]?|[\x00-\x08\x0b-\x1f]"
)


class Shell:
    """A shell at a terminal; a line is typed, completed with Tab, and read back as the shell would run it."""

    def __init__(self, name: str, folder: Path, environment: dict[str, str]) -> None:
        self.name = name
        leader, follower = pty.openpty()
        self._terminal = leader
        self._process = subprocess.Popen(
            STARTS[name],
            cwd=folder,
            env={**environment, "TERM": "dumb" if name == "bash" else "xterm", "PS1": "> ", "COLUMNS": "200"},
            stdin=follower,
            stdout=follower,
            stderr=follower,
            start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),  # noqa: PLW1509  its own terminal, for fish
        )
        os.close(follower)
        self.text = ""
        self.type(f"{READIES[name]}\r")
        self.type("echo rea''dy\r")
        self.wait_for(r"\nready")

    def type(self, keys: str) -> None:
        """Press keys."""
        os.write(self._terminal, keys.encode())

    def wait_for(self, pattern: str) -> re.Match[str]:
        """Read until this comes after what was read before."""
        end = time.monotonic() + LONGEST_S
        while time.monotonic() < end:
            found = re.search(pattern, self.text)
            if found is not None:
                self.text = self.text[found.end() :]
                return found
            if select.select([self._terminal], [], [], 0.2)[0]:
                read = os.read(self._terminal, 65536).decode(errors="replace")
                if "\x1b[c" in read:
                    self.type("\x1b[?1;2c")  # fish asks what terminal this is
                self.text += SIGNS.sub("", read)
        pytest.fail(f"{pattern!r} did not come from {self.name}:\n{self.text}")

    def completed(self, words: str, pattern: str) -> str:
        """Type words and Tab until this comes; the line is then thrown away."""
        self.type(f"{words}\t\t")
        found = self.wait_for(pattern).group()
        self.type("\x15")  # Ctrl-U empties the line; Ctrl-C would also throw away what is typed next
        return found

    def close(self) -> None:
        """End it."""
        self._process.kill()
        self._process.wait()
        os.close(self._terminal)


@pytest.fixture(params=sorted(STARTS))
def shell(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Shell]:
    """Each shell that this machine has, in a folder with a folder, a file, and sessions elsewhere."""
    name = request.param
    if shutil.which(name) is None:
        pytest.skip(f"this machine has no {name}")
    program = Path(sys.executable).with_name("bay-assistant")
    if not program.exists():
        pytest.skip("bay-assistant is not installed beside this Python")
    for folder in ("here/shop-procedures", "sessions/20261129-0900-ab12"):
        (tmp_path / folder).mkdir(parents=True)
    (tmp_path / "here" / "answer-one.wav").touch()
    environment = {
        **os.environ,
        "PATH": f"{program.parent}{os.pathsep}{os.environ['PATH']}",
        "BAY_ASSISTANT_SESSIONS": str(tmp_path / "sessions"),
    }
    with contextlib.closing(Shell(name, tmp_path / "here", environment)) as opened:
        yield opened


def test_tab_completes(shell: Shell) -> None:
    """Commands, options, choices, folders, files, procedures and sessions, as somebody who types gets them."""
    shell.completed("bay-assistant pict", "picture")
    shell.completed("bay-assistant bench reh", "bench rehearsal")
    shell.completed("bay-assistant lint --write-l", "--write-likelihoods")
    shell.completed("bay-assistant bench speech --listener whi", "--listener whisper")
    shell.completed("bay-assistant lint --procedures sho", "--procedures shop-procedures")
    shell.completed("bay-assistant hear answ", "hear answer-one.wav")
    shell.completed("bay-assistant run coil-con", "run coil-control")
    shell.completed("bay-assistant picture --procedure battery-a", "--procedure battery-and-cranking")
    shell.completed("bay-assistant writeup 20261129", "writeup 20261129-0900-ab12")


@pytest.mark.parametrize("name", sorted(STARTS))
def test_the_script_knows_every_command(name: str) -> None:
    """It is made from the parser, so no command and no measurement is left out."""
    script = call("completion", name).stdout
    assert all(command in script for command in COMMANDS)
    assert "write-likelihoods" in script  # fish writes it without its dashes


def test_names_that_cannot_be_known_are_none(tmp_path: Path) -> None:
    """While somebody types, a broken file of settings says nothing and spoils nothing."""
    (tmp_path / "s.toml").write_text("this is no TOML", encoding="utf-8")
    environment = {"BAY_ASSISTANT_SETTINGS": str(tmp_path / "s.toml")}
    done = call("completion", "--names", "procedures", environment=environment)
    assert (0, "", "") == (done.returncode, done.stdout.strip(), done.stderr)
    assert "coil-control" in call("completion", "--names", "procedures").stdout.split()
    assert "last" in call("completion", "--names", "sessions").stdout.split()
    assert "shop.name" in call("completion", "--names", "settings").stdout.split()
