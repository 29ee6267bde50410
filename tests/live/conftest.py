"""The bay of `bay.py`, and bay-assistant in a pseudo terminal in it."""

from __future__ import annotations

import os
import pty
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from bay import LOUDSPEAKER, MICROPHONE, Bay, Terminal


@pytest.fixture
def bay(tmp_path: Path) -> Iterator[Bay]:
    """A bay with a microphone and a loudspeaker that exist only in software."""
    for program in ("pulseaudio", "paplay", "parec", "pactl"):
        if shutil.which(program) is None:
            pytest.fail(f"{program} is missing; run: bash .ci/setup test")
    runtime = tmp_path / "pulse"
    runtime.mkdir(mode=0o700)
    socket = runtime / "native"
    environment = {
        **os.environ,
        "HOME": str(tmp_path),
        "XDG_RUNTIME_DIR": str(runtime),
        "XDG_CACHE_HOME": str(tmp_path / "cache"),
        "XDG_DATA_HOME": str(tmp_path / "data"),
        "PULSE_RUNTIME_PATH": str(runtime),
        "PULSE_SERVER": f"unix:{socket}",
        "PULSE_SOURCE": f"{MICROPHONE}.monitor",
        "PULSE_SINK": LOUDSPEAKER,
        "TERM": "xterm",
        "COLUMNS": "100",
        "LINES": "30",
    }
    made = Bay(tmp_path, environment)
    try:
        made.start_server()
        yield made
    finally:
        made.kill_server()


OWN_TERMINAL = """
import fcntl, os, signal, sys, termios
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
signal.signal(signal.SIGINT, signal.SIG_IGN)
os.execv(sys.executable, [sys.executable, "-m", "assistant", *sys.argv[1:]])
"""
"""Takes the pseudo terminal as its own, so that Ctrl-C there is a signal, ignores it, and becomes bay-assistant."""


@pytest.fixture
def terminal(bay: Bay) -> Iterator[object]:
    """Starts bay-assistant in a pseudo terminal with the virtual sound gear.

    With `ignoring` that is its controlling terminal, and it inherits an ignored SIGINT, as from a job in the
    background of a shell.
    """
    started: list[Terminal] = []

    def start(*arguments: str, ignoring: bool = False) -> Terminal:
        master, slave = pty.openpty()
        program = ["-c", OWN_TERMINAL] if ignoring else ["-m", "assistant"]
        process = subprocess.Popen(
            [sys.executable, *program, *arguments],
            env=bay.environment,
            stdin=slave,
            stdout=slave,
            stderr=slave,
            start_new_session=True,
        )
        os.close(slave)
        started.append(Terminal(process, master))
        return started[-1]

    yield start
    for program in started:
        if program.process.poll() is None:
            os.killpg(program.process.pid, signal.SIGKILL)
            program.process.wait(timeout=10)
        os.close(program.keyboard)
