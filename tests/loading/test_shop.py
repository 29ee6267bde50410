"""The folder of procedures in use: option before variable before bundled."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.errors import UsageProblem
from assistant.loading.shop import VARIABLE, grammars_in_use, procedures_in_use, shop_folder
from assistant.resources import directory


def test_the_option_wins_over_the_variable(tmp_path: Path) -> None:
    """Whoever names a folder on the command line means it, whatever is set."""
    (tmp_path / "set").mkdir()
    environment = {VARIABLE: str(tmp_path / "set")}
    assert tmp_path / "named" == shop_folder(tmp_path / "named", environment)
    assert tmp_path / "set" == shop_folder(None, environment)
    assert shop_folder(None, {}) is None
    assert shop_folder(None, {VARIABLE: ""}) is None
    assert directory("procedures") == procedures_in_use(None, {})


def test_the_bundled_ones_can_be_asked_for(tmp_path: Path) -> None:
    """'bundled' takes the shipped procedures although a folder is set; './bundled' is a folder."""
    (tmp_path / "set").mkdir()
    environment = {VARIABLE: str(tmp_path / "set")}
    assert shop_folder(Path("bundled"), environment) is None
    assert shop_folder(tmp_path / "bundled", environment) == tmp_path / "bundled"


def test_a_variable_that_names_no_folder_is_refused(tmp_path: Path) -> None:
    """A folder that was moved is told by the name of the variable, not taken for an empty one."""
    with pytest.raises(UsageProblem, match=f"{VARIABLE} names .*gone.*no folder"):
        shop_folder(None, {VARIABLE: str(tmp_path / "gone")})


def test_a_home_folder_may_be_written_short(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A variable is not always expanded by a shell, so ``~`` is."""
    monkeypatch.setenv("HOME", str(tmp_path))
    (tmp_path / "ours").mkdir()
    assert tmp_path / "ours" == shop_folder(None, {VARIABLE: "~/ours"})


def test_a_folder_with_grammars_is_heard_with_them(tmp_path: Path) -> None:
    """A copy's own grammars go with it, unless others are named; without any, the bundled ones hear."""
    assert directory("grammars") == grammars_in_use(None, tmp_path)
    assert directory("grammars") == grammars_in_use(None, None)
    (tmp_path / "grammars").mkdir()
    assert tmp_path / "grammars" == grammars_in_use(None, tmp_path)
    assert tmp_path / "others" == grammars_in_use(tmp_path / "others", tmp_path)
