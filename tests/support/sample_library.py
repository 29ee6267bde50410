"""Procedures for tests of the dialogue: short ways to everything that it can do.

Four of them replace the shipped ones of the same name; words, cautions and all other procedures are the shipped ones.
What the dialogue does must not depend on which test the shipped procedures begin with; that they are led through
rightly is held by tests of the whole job, of the procedures and of the circuit.
"""

from __future__ import annotations

import shutil
import tempfile
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.loading.folder import load_library
from assistant.resources import directory

if TYPE_CHECKING:
    from assistant.core.library.library import Library

SAMPLES = Path(__file__).parent / "sample_procedures"


@cache
def sample_library() -> Library:
    """The library with the sample procedures in it, without likelihoods."""
    with tempfile.TemporaryDirectory() as folder:
        return load_library(fill(Path(folder) / "procedures"))


def fill(folder: Path) -> Path:
    """A folder with the shipped procedures and, in their place, the samples."""
    shutil.copytree(directory("procedures"), folder)
    for sample in SAMPLES.glob("*.yaml"):
        shutil.copy(sample, folder / sample.name)
    return folder
