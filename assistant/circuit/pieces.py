"""Work in pieces, by a few processes: the same results in the same order, however many there are."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from concurrent.futures import InvalidStateError, ProcessPoolExecutor
from typing import TYPE_CHECKING, Any, TypeVar

from assistant.errors import BayAssistantError, UsageProblem

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

_Piece = TypeVar("_Piece")
_Result = TypeVar("_Result")

_ENDS = {signal.SIGTERM, signal.SIGHUP}

_HERE: list[tuple[Callable[..., Any], tuple[Any, ...]]] = []
"""The work of a further process with its arguments, which it gets once at its start."""


def carried_out(
    work: Callable[..., _Result], given: tuple[Any, ...], pieces: Sequence[_Piece], processes: int
) -> Iterator[_Result]:
    """The results of ``work(*given, piece)``, in the order of the pieces.

    Args:
        work: A function of a module, so that a further process can find it.
        given: Arguments shared by all pieces, sent to each process once.
        pieces: The pieces of work.
        processes: Largest number of processes; never more than the machine has processors.

    Raises:
        BayAssistantError: A piece cannot be done; from a further process as `UsageProblem` with the same text.
    """
    processes = min(processes, os.cpu_count() or 1, len(pieces))
    if processes < 2:
        for piece in pieces:
            yield work(*given, piece)
        return
    # Spawned, not forked: a caller may have threads (sound), which do not survive a fork.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, context, _begin, (work, given)) as pool:
        try:
            with held_back():
                results = pool.map(_one, pieces)
            for result, problem in results:
                if problem:
                    pool.shutdown(cancel_futures=True)
                    raise UsageProblem(problem)  # noqa: TRY301  not an end at once
                yield result
        except UsageProblem:
            raise
        except BaseException:  # Ctrl-C, or the caller goes no further
            end_processes()
            raise


@contextlib.contextmanager
def held_back() -> Iterator[None]:
    """Hold signals back while processes are started; this one gets them afterwards.

    A parent that ended in the middle of this would leave its children with half of their work, and they would say so.
    The processes call `begin_further`.
    """
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, *_ENDS})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def begin_further() -> None:
    """In a further process: Ctrl-C is the parent's business, and what would end the process counts again."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, _ENDS)


def end_processes() -> None:
    """End all further processes at once: a piece of work may take minutes."""
    threading.excepthook = _unless_cancelled
    for process in multiprocessing.active_children():
        process.kill()  # it may just begin, and still hold SIGTERM back


def _unless_cancelled(failed: threading.ExceptHookArgs) -> None:
    """Report what failed on a thread, except what Python 3.11's pool does about work that was cancelled.

    Its thread tells a cancelled piece of work that its process has ended, and fails on that, as was seen here.
    """
    if failed.exc_type is not InvalidStateError:
        threading.__excepthook__(failed)


def _begin(work: Callable[..., Any], given: tuple[Any, ...]) -> None:
    begin_further()
    _HERE[:] = [(work, given)]


def _one(piece: Any) -> tuple[Any, str]:
    """One piece in a further process; a problem comes back as its text, because not every error can be pickled."""
    work, given = _HERE[0]
    try:
        return work(*given, piece), ""
    except BayAssistantError as problem:
        return None, str(problem)
