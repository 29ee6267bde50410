"""A shop's folder is looked at before a session begins: what stops, what is told, and what is not waited for."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from assistant import linting, resources
from assistant.errors import BayAssistantError
from assistant.grammar.grammar_set import GrammarSet
from assistant.loading import copying
from assistant.loading.folder import load_library
from assistant.session.procedures_used import checked

if TYPE_CHECKING:
    from pathlib import Path

BUNDLED = resources.directory("procedures")
GRAMMARS = GrammarSet.load(resources.directory("grammars"))


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    copying.copy(BUNDLED, tmp_path / "shop", load_library(BUNDLED).procedures, "0.0.9")
    return tmp_path / "shop"


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_a_current_copy_is_told_in_one_sentence(shop: Path) -> None:
    """The folder, that the quick check found nothing, and the command for the rest."""
    (said,) = checked(shop, GRAMMARS).remarks
    assert str(shop) in said
    assert f"bay-assistant lint --procedures {shop}" in said


def test_a_copy_of_an_older_version_says_so_once(
    shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One sentence with the version that it came with and the command that tells what changed."""
    later = shutil.copytree(BUNDLED, tmp_path / "later")
    edit(later / "cautions.yaml", "Coil and plug leads can kill.", "Coil and plug leads kill.")
    real = resources.directory
    monkeypatch.setattr(
        "assistant.resources.directory", lambda name: later if name == "procedures" else real(name)
    )
    (old,) = checked(shop, GRAMMARS).remarks
    assert "came with bay-assistant 0.0.9" in old
    assert f"bay-assistant procedures --changes {shop}" in old


def test_a_copy_made_by_hand_works(tmp_path: Path) -> None:
    """A folder without a list of what it came from is used like any other."""
    shop = shutil.copytree(BUNDLED, tmp_path / "old")
    assert 1 == len(checked(shop, GRAMMARS).remarks)


def test_a_doubtful_limit_is_told_and_does_not_stop(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A limit without its number in the source is for the office; the car on the lift does not wait for it."""
    for old in ("below: 9.6", "from: 9.6"):
        edit(shop / "coil-control.yaml", old, old.replace("9.6", "9.8"))
    said = checked(shop, GRAMMARS).remarks[-1]
    assert "findings" in said
    assert f"lint --procedures {shop}" in said
    assert f"{shop / 'coil-control.yaml'}:" in capsys.readouterr().err


def test_a_missing_caution_for_the_tester_stops(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without the words about the injectors and the open leads, no spark tester is used."""
    text = (shop / "spark-check.yaml").read_text(encoding="utf-8")
    assert ", injectors" in text
    (shop / "spark-check.yaml").write_text(text.replace(", injectors", ""), encoding="utf-8")
    with pytest.raises(BayAssistantError) as stopped:
        checked(shop, GRAMMARS)
    told = f"{capsys.readouterr().err}{stopped.value}"
    assert f"{shop / 'spark-check.yaml'}:" in told
    assert "is without a caution as 'injectors'" in told


def test_what_nobody_can_say_is_found_at_the_start(shop: Path) -> None:
    """A procedure whose name no grammar has is told before the session, in the quick part."""
    text = (shop / "coil-control.yaml").read_text(encoding="utf-8")
    (shop / "ours.yaml").write_text(
        text.replace("procedure: coil-control", "procedure: ours"), encoding="utf-8"
    )
    assert any("ours" in str(one) for one in linting.lint_at_start(load_library(shop), GRAMMARS))


def test_the_quick_part_is_part_of_the_whole(shop: Path) -> None:
    """The command finds everything that the start finds."""
    edit(shop / "coil-control.yaml", "below: 9.6", "below: 9.8")
    edit(shop / "coil-control.yaml", "from: 9.6", "from: 9.8")
    library = load_library(shop)
    quick = set(linting.lint_at_start(library, GRAMMARS))
    assert quick
    assert quick <= set(linting.lint_procedures(library, None, GRAMMARS)) | set(
        linting.adding.findings(library)
    ) | set(linting.lint_grammars_for(library, GRAMMARS))
