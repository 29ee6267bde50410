"""Private files outside a session: a write-up, a demo, the trace of a defect."""

from __future__ import annotations

import os
import stat
from typing import TYPE_CHECKING

from assistant.resources import refuse_installed

if TYPE_CHECKING:
    from pathlib import Path

_MODE = 0o600


def write_named(path: Path, data: bytes) -> None:
    """Write a file that a person named; only its owner can read a new one, whatever the umask.

    An existing file is overwritten and keeps its permissions, because somebody may have shared it on purpose.
    The name may also stand for something other than a file, such as ``/dev/stdout``.

    Raises:
        OSError: The system refused.
        UsageProblem: It would lie in the installed program.
    """
    refuse_installed(path)
    there = os.O_WRONLY | os.O_TRUNC | os.O_CLOEXEC | os.O_NOCTTY
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, _MODE)
        new = True
    except FileExistsError:
        # A dangling link is followed, because its owner wants the file there.
        new = not path.exists()
        descriptor = os.open(path, there | os.O_CREAT, _MODE)
    with os.fdopen(descriptor, "wb") as file:
        if new and stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            os.fchmod(file.fileno(), _MODE)
        file.write(data)
