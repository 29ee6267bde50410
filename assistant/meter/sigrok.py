"""The program ``sigrok-cli``: found, asked what is plugged in, and run; never through a shell."""

from __future__ import annotations

import contextlib
import os
import re
import selectors
import shutil
import subprocess
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.closing import Closes
from assistant.errors import GearProblem
from assistant.packages import SIGROK, installing
from assistant.printing import in_line

if TYPE_CHECKING:
    from collections.abc import Sequence

PROGRAM = "sigrok-cli"

_NUMBER = re.compile(r"\d{1,12}(\.\d{1,6})?", re.ASCII)

SCAN_S = 20.0
"""Patience for a search of everything that is plugged in, s; serial meters are given 3 s each by sigrok."""
_ENDING_S = 1.0
_CHUNK = 65536
_KEPT_ERRORS = 2000


def program() -> str:
    """Where it is.

    Raises:
        GearProblem: It is not installed; says how to install it.
    """
    found = shutil.which(PROGRAM)
    if found is None:
        raise GearProblem(f"A meter is read with {PROGRAM}, which is not installed. {installing(SIGROK)}.")
    return found


@dataclass(frozen=True)
class PluggedMeter:
    """A device that sigrok found.

    Attributes:
        spec: As it is given to `--meter`.
        told: Its name and channels, in sigrok's words.
    """

    spec: str
    told: str


def scan() -> tuple[list[PluggedMeter], list[str]]:
    """The devices that answer by themselves, and the serial ports, at which a meter has to be named.

    Raises:
        GearProblem: The program is missing, or does not end.
    """
    devices = [
        PluggedMeter(spec.strip(), in_line(told.strip()))
        for line in _said(["--scan"]).splitlines()
        for spec, dash, told in [line.partition(" - ")]
        if dash and not line.startswith(" ")
    ]
    ports = [
        in_line(" ".join(line.split())) for line in _said(["--list-serial"]).splitlines() if line[:1] in " \t"
    ]
    return devices, [port for port in ports if port]


def sampling_rate(arguments: Sequence[str]) -> float:
    """The samples a second that a device really takes; 0 if it does not say.

    Args:
        arguments: What selects it, with the rate that is wanted.

    Raises:
        GearProblem: The program is missing, or does not end.
    """
    told = _said([*arguments, "--get=samplerate"]).strip()
    return float(told) if _NUMBER.fullmatch(told) else 0.0


def _said(arguments: Sequence[str]) -> str:
    try:
        done = subprocess.run(
            [program(), *arguments],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            env=_environment(),
            timeout=SCAN_S,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise GearProblem(
            f"{PROGRAM} did not end within {SCAN_S:.0f} s. Unplug what it may wait for."
        ) from error
    except OSError as error:
        raise GearProblem(f"{PROGRAM} cannot be started: {error.strerror}.") from error
    return done.stdout.decode("utf-8", "replace")


def _environment() -> dict[str, str]:
    """The same, but numbers have a decimal point."""
    return {**os.environ, "LC_ALL": "C"}


class Running(Closes):
    """The program while it gives values; `read` takes them, from one thread.

    Args:
        arguments: What to read, and how much of it.
        output: Sigrok's output format.

    Raises:
        GearProblem: The program is missing or cannot be started.
    """

    def __init__(self, arguments: Sequence[str], output: str = "analog") -> None:
        # Its standard input is a pipe that stays open: at the end of its input it would stop at once.
        try:
            self._child = subprocess.Popen(
                [program(), *arguments, f"--output-format={output}"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                env=_environment(),
            )
        except OSError as error:
            raise GearProblem(f"{PROGRAM} cannot be started: {error.strerror}.") from error
        self._errors = b""
        self._selector = selectors.DefaultSelector()
        for pipe in (self._child.stdout, self._child.stderr):
            if pipe is not None:
                os.set_blocking(pipe.fileno(), False)
                self._selector.register(pipe.fileno(), selectors.EVENT_READ, pipe is self._child.stderr)

    def read(self, patience_s: float) -> bytes | None:
        """What came; b"" if nothing came in this time, None if it has ended."""
        end = time.monotonic() + patience_s
        while self._selector.get_map():
            ready = self._selector.select(max(0.0, end - time.monotonic()))
            if not ready:
                return b""
            for key, _ in ready:
                found = self._taken(key.fd)
                if found and key.data:
                    self._errors = (self._errors + found)[-_KEPT_ERRORS:]
                elif found:
                    return found
        return None

    def _taken(self, fd: int) -> bytes:
        try:
            found = os.read(fd, _CHUNK)
        except BlockingIOError:
            return b""
        except OSError:
            found = b""
        if not found:
            self._selector.unregister(fd)
        return found

    @property
    def complaint(self) -> str:
        """The last line that it wrote to standard error and is no note of its libraries; "" if there is none."""
        lines = self._errors.decode("utf-8", "replace").splitlines()
        told = [line for line in lines if line.strip() and "assertion" not in line and "bt-bluez" not in line]
        return in_line(told[-1].strip()) if told else ""

    def close(self) -> None:
        """End it: asked first, then killed."""
        child = self._child
        if child.poll() is None:
            child.terminate()
            try:
                child.wait(_ENDING_S)
            except subprocess.TimeoutExpired:
                child.kill()
                child.wait()
        self._selector.close()
        for pipe in (child.stdin, child.stdout, child.stderr):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
