"""Work in pieces, by a few processes: the same results in the same order, however many there are."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
from concurrent.futures import ProcessPoolExecutor
from typing import TYPE_CHECKING, Any, TypeVar

from assistant.errors import BayAssistantError, UsageProblem

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

_Piece = TypeVar("_Piece")
_Result = TypeVar("_Result")

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
    before = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(processes, context, _begin, (work, given))
    try:
        with held_back():
            results = pool.map(_one, pieces)
        for result, problem in results:
            if problem:
                raise UsageProblem(problem)
            yield result
    except (KeyboardInterrupt, GeneratorExit):
        for process in set(multiprocessing.active_children()) - before:  # a piece may take long
            process.terminate()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


@contextlib.contextmanager
def held_back() -> Iterator[None]:
    """Hold Ctrl-C back: processes that are started meanwhile never get it, and this one gets it afterwards."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin(work: Callable[..., Any], given: tuple[Any, ...]) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the process that began this one ends it
    _HERE[:] = [(work, given)]


def _one(piece: Any) -> tuple[Any, str]:
    """One piece in a further process; a problem comes back as its text, because not every error can be pickled."""
    work, given = _HERE[0]
    try:
        return work(*given, piece), ""
    except BayAssistantError as problem:
        return None, str(problem)
