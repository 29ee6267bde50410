"""The end of a command: always an exit status, and at most one sentence on standard error."""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.commands.console import complain
from assistant.errors import BayAssistantError, UsageProblem
from assistant.places import state_folder

if TYPE_CHECKING:
    from collections.abc import Callable


def status_of(command: Callable[[], int]) -> int:
    """Run a command and return its exit status; every exception but `SystemExit` becomes a sentence."""
    try:
        status = command()
        sys.stdout.flush()
    except BrokenPipeError:
        _drop_output()  # its reader has gone, as with `| head`, so there is nothing left to say
        return 0
    except OSError as error:
        if _terminal_gone(error):
            _drop_output()  # closed under the program: its record is safe, and nobody reads the rest
            return 0
        try:
            sys.stdout.flush()
        except OSError:
            _drop_output()
        complain(_unusable(error))
        return 2
    except BayAssistantError as error:
        complain(str(error))
        return error.exit_code
    except KeyboardInterrupt:
        complain("Interrupted.")
        return 130
    except Exception as error:  # noqa: BLE001  the last resort before a technician would see a traceback
        complain(f"This is a defect in bay-assistant ({type(error).__name__}: {error}). {_keep_trace()}")
        return 2
    return status


def _drop_output() -> None:
    """Point standard output to nowhere, so that Python does not fail on it again while it ends."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError):
            stream.flush()
            continue
        with contextlib.suppress(OSError, ValueError):
            os.dup2(nowhere, stream.fileno())


def _terminal_gone(error: OSError) -> bool:
    """Whether the output failed because its terminal was closed, termios(4): reading and writing give EIO."""
    if error.errno != errno.EIO or error.filename is not None:
        return False
    try:
        return stat.S_ISCHR(os.fstat(sys.stdout.fileno()).st_mode)
    except (OSError, ValueError):
        return False


def _unusable(error: OSError) -> str:
    """The sentence for a refusal of the system that no nearer code has put into words."""
    try:
        Path.cwd()
    except OSError:
        return (
            "The folder in which bay-assistant was started is gone. Change to another one and start it again."
        )
    return f"{error.filename or 'The output'} cannot be used: {error.strerror or error}."


def _keep_trace() -> str:
    """Write the traceback, which may hold typed text, to a file for developers, and name the file."""
    import traceback  # noqa: PLC0415  2 ms of every start

    from assistant.private import write_named  # noqa: PLC0415

    try:
        path = state_folder() / "defect.txt"
        path.parent.mkdir(0o700, parents=True, exist_ok=True)
        write_named(path, traceback.format_exc().encode("utf-8", "backslashreplace"))
    except (OSError, UsageProblem):
        return "Everything recorded so far is safe."
    return f"Everything recorded so far is safe. Details for the developers are in {path}."
