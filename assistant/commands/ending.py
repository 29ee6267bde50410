"""The end of a command: always an exit status, and at most one sentence on standard error.

A command unwinds if SIGTERM or SIGHUP tells it to end, Ctrl-C interrupts it, or its reader has gone (``| head``):
its temporary files go, its processes are ended. Then the program dies of that very signal, as one does that knows
nothing of signals: a shell sees 143, 129, 130 or 141, and a loop in a script ends with Ctrl-C. A live session holds
signals back and ends in its own good order (`assistant.session.ending`).
"""

from __future__ import annotations

import atexit
import contextlib
import errno
import os
import signal
import stat
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.commands.console import complain
from assistant.errors import BayAssistantError, UsageProblem
from assistant.places import state_folder
from assistant.printing import lost

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from types import FrameType


_TOLD = (signal.SIGTERM, signal.SIGHUP)


class ToldToEnd(BaseException):
    """A signal told the program to end.

    Args:
        number: Number of the signal.
    """

    def __init__(self, number: int) -> None:
        self.number = number
        super().__init__(number)


def status_of(command: Callable[[], int]) -> int:
    """Run a command and return its exit status; every exception but `SystemExit` becomes a sentence.

    The status of an end by a signal is 128 and its number; `as_signalled` makes the process end so.
    """
    try:
        with _heard():
            status = command()
        sys.stdout.flush()
    except BrokenPipeError:
        _drop_output()  # its reader has gone, as with `| head`, so there is nothing left to say
        return _by(signal.SIGPIPE)
    except OSError as error:
        return _failed(error)
    except BayAssistantError as error:
        complain(str(error))
        return error.exit_code
    except KeyboardInterrupt:
        complain("Interrupted.")
        return _by(signal.SIGINT)
    except ToldToEnd as told:
        _drop_output()
        return _by(told.number)
    except SystemExit:
        _flush_last()
        raise
    except Exception as error:  # noqa: BLE001  the last resort before a technician would see a traceback
        complain(f"This is a defect in bay-assistant ({type(error).__name__}: {error}). {_keep_trace()}")
        return 2
    if lost(sys.stdout):
        complain(
            "Standard output is closed, so the result is lost. Start it without closing its output (>&-)."
        )
        return 2
    return status


_ENDED_BY: list[int] = []
"""The signal of which the process is to die."""


def _by(number: int) -> int:
    _ENDED_BY[:] = [number]
    return 128 + number


@contextlib.contextmanager
def as_signalled() -> Iterator[None]:
    """For a whole process: if a command in here ends by a signal, the process dies of it after all clean-up."""
    _ENDED_BY.clear()
    atexit.register(_die)  # the first that is registered is called last
    yield


def _die() -> None:
    if _ENDED_BY:
        signal.signal(_ENDED_BY[0], signal.SIG_DFL)
        os.kill(os.getpid(), _ENDED_BY[0])


@contextlib.contextmanager
def _heard() -> Iterator[None]:
    """Let SIGTERM and SIGHUP unwind the command; one that is ignored (nohup) or handled by somebody else stays so.

    A second one ends the process at once.
    """
    taken = []
    before = sys.unraisablehook
    sys.unraisablehook = _told_again
    if threading.current_thread() is threading.main_thread():
        taken = [number for number in _TOLD if signal.getsignal(number) == signal.SIG_DFL]
    for number in taken:
        signal.signal(number, _unwind)
    try:
        yield
    finally:
        sys.unraisablehook = before
        for number in taken:
            if signal.getsignal(number) is _unwind:
                signal.signal(number, signal.SIG_DFL)


def _told_again(failed: sys.UnraisableHookArgs) -> None:
    """Give a signal again that came where Python lets no exception through (a callback as an object goes).

    The first one has put back what the system does, so this one ends the process at once.
    """
    if isinstance(failed.exc_value, ToldToEnd):
        os.kill(os.getpid(), failed.exc_value.number)
    elif isinstance(failed.exc_value, KeyboardInterrupt):
        os.kill(os.getpid(), signal.SIGINT)
    else:
        sys.__unraisablehook__(failed)


def _unwind(number: int, _frame: FrameType | None) -> None:
    for one in _TOLD:
        if signal.getsignal(one) is _unwind:
            signal.signal(one, signal.SIG_DFL)
    if "assistant.circuit.pieces" in sys.modules:  # nothing else starts processes that a pool would wait for
        from assistant.circuit.pieces import end_processes  # noqa: PLC0415

        end_processes()
    raise ToldToEnd(number)


def _failed(error: OSError) -> int:
    """The status after the system refused something, and its sentence."""
    if _terminal_gone(error):
        _drop_output()  # closed under the program: its record is safe, and nobody reads the rest
        return 0
    try:
        sys.stdout.flush()
    except OSError:
        _drop_output()
    complain(_unusable(error))
    return 2


def _flush_last() -> None:
    """Write out a help page; a reader that has gone, or a full disk, is no reason for a traceback.

    Raises:
        SystemExit: It cannot be written.
    """
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _drop_output()
        raise SystemExit(_by(signal.SIGPIPE)) from None
    except OSError as error:
        raise SystemExit(_failed(error)) from None


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
