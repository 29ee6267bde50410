"""A folder of procedures as it is read from the disk."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from assistant.errors import FileProblem
from assistant.loading import (
    LIKELIHOODS_FILE,
    ODDS_FILE,
    load_folder,
    load_knowledge,
    load_library,
)
from assistant.resources import directory

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the shipped procedures, to be changed."""
    return shutil.copytree(directory("procedures"), tmp_path / "procedures")


def test_library_and_knowledge_come_from_the_same_folder(folder: Path) -> None:
    """The knowledge has circuits that the procedures are about, and odds of every fault."""
    library, knowledge = load_folder(folder)
    assert knowledge is not None
    assert set(knowledge.circuits) <= {procedure.circuit for procedure in library.procedures.values()}
    assert set(knowledge.odds.prior) == set(library.terms.faults)


@pytest.mark.parametrize("missing", [LIKELIHOODS_FILE, ODDS_FILE])
def test_without_likelihoods_or_odds_nothing_is_weighed(folder: Path, missing: str) -> None:
    """Sessions recorded before there were any still load: the procedures are the same, and the knowledge is None."""
    (folder / missing).unlink()
    library, knowledge = load_folder(folder)
    assert knowledge is None
    assert library.procedures.keys() == load_library(directory("procedures")).procedures.keys()


def test_damaged_likelihoods_stop_only_what_weighs_with_them(folder: Path) -> None:
    """The procedures load without their likelihoods, so they can be written anew; a session does not begin."""
    (folder / LIKELIHOODS_FILE).write_text("damaged", encoding="utf-8")
    library = load_library(folder)
    with pytest.raises(FileProblem, match=r"likelihoods\.json: these are not the likelihoods"):
        load_knowledge(folder, library.terms)
    with pytest.raises(FileProblem, match=r"likelihoods\.json"):
        load_folder(folder)


def test_two_files_with_one_procedure_are_refused(folder: Path) -> None:
    """A file must have the name of its procedure, so a copy of one under another name is refused with its line."""
    shutil.copy(folder / "coil-control.yaml", folder / "coil-copy.yaml")
    with pytest.raises(
        FileProblem, match=r"coil-copy\.yaml:\d+: the procedure is called 'coil-control'"
    ) as caught:
        load_library(folder)
    assert "Call the file 'coil-control.yaml' or the procedure 'coil-copy'" in str(caught.value)
