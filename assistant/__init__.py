"""Hands-free, offline voice and number-pad helper for no-spark diagnosis with a test lamp."""

import os

__version__ = "0.1.0"

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    # One thread for linear algebra, unless somebody has chosen: its idle threads wait by spinning, and on a busy
    # machine a sentence of the voice took 1062 ms instead of 88. The libraries read this when they are loaded, so it
    # stands before any import of numpy; every module of the program comes through here first.
    os.environ.setdefault(_name, "1")
