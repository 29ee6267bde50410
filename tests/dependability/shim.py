"""A small library that stands before the C library: makes syncs slow, or lets the n-th call of a kind fail.

Built from `slow_sync.c` with the machine's C compiler; without one, what needs it is skipped with the reason.
"""

from __future__ import annotations

import atexit
import functools
import shutil
import subprocess
import tempfile
from pathlib import Path

SOURCE = Path(__file__).with_name("slow_sync.c")
NO_COMPILER = "no C compiler (cc or gcc) on this machine"


@functools.cache
def library() -> Path | None:
    """The built library; None where there is no compiler.

    Raises:
        CalledProcessError: The compiler refused the source.
    """
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None:
        return None
    folder = tempfile.mkdtemp(prefix="slow-sync-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    built = Path(folder) / "slow_sync.so"
    subprocess.run(
        [compiler, "-O1", "-Wall", "-Werror", "-shared", "-fPIC", "-o", built, SOURCE, "-ldl"],
        check=True,
        capture_output=True,
    )
    return built


def variables(under: Path, *, slow_ms: int = 0, fail: tuple[str, int, str] | None = None) -> dict[str, str]:
    """Return the variables to put into the environment.

    Args:
        under: Only calls on files in this folder count.
        slow_ms: How long each sync takes, ms; the marks ``(`` and ``)`` say when one begins and ends.
        fail: Kind of the call (``write``, ``sync``, ``open``, ``rename``, ``mkdir``), its number counted from 1, and
            what happens to it: an errno in decimal, ``short`` (half is written), ``kill`` or ``kill-after``.
    """
    built = library()
    assert built is not None, NO_COMPILER
    found = {"LD_PRELOAD": str(built), "TORTURE_UNDER": str(under), "TORTURE_SLOW_MS": str(slow_ms)}
    if fail is not None:
        found["TORTURE_FAIL"] = f"{fail[0]}:{fail[1]}:{fail[2]}"
    return found
