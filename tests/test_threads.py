"""Numerical libraries keep to one thread, whatever way the program is entered."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

NAMES = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")

LOOK = "; import os, sys, threading; print([os.environ.get(n) for n in {names}], len(os.listdir('/proc/self/task')))"

AS_A_MODULE = """
import contextlib, io, runpy, sys
sys.argv = ['assistant', '--version']
with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):
    runpy.run_module('assistant', run_name='__main__')
pass"""


def started(code: str, **given: str) -> str:
    """What a fresh process says about its threads after this code and a computation."""
    environment = {name: value for name, value in os.environ.items() if name not in NAMES} | given
    code += "; import numpy as np; np.ones((600, 600)) @ np.ones((600, 600))" + LOOK.format(names=NAMES)
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
    )
    return done.stdout.strip()


@pytest.mark.parametrize(
    "entry",
    [
        "import assistant",
        "from assistant.cli import main",
        "import assistant.speaking.voice",
        AS_A_MODULE,
    ],
    ids=["package", "cli", "voice", "python -m assistant"],
)
def test_one_thread_however_the_program_is_entered(entry: str) -> None:
    """A large product of matrices starts no further thread, because numpy was told before it was loaded."""
    assert started(entry) == "['1', '1'] 1"


def test_whoever_chose_another_number_keeps_it() -> None:
    """The environment has the last word."""
    assert started("import assistant", OPENBLAS_NUM_THREADS="2").startswith("['2', '1']")
