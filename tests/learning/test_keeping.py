"""The files of learnt voices."""

from __future__ import annotations

import stat
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, strategies as st

from assistant import resources
from assistant.core.values.own_word import OwnWord
from assistant.errors import MALFORMED, UsageProblem
from assistant.hearing.voice_so_far import VoiceSoFar
from assistant.learning import keeping
from assistant.learning.hearer import hearer_of
from assistant.learning.learnt import HeardOften, Learnt, parse_learnt


@pytest.fixture(autouse=True)
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return tmp_path / "config" / "bay-assistant" / "voices"


SAM = Learnt(
    "Sam O'Neil",
    "2026-11-28",
    "123-abc",
    VoiceSoFar(3.0, {"margin": -1.5}),
    np.array([0.125, -0.25], np.float32),
    {"lit": HeardOften(2, 2), "dark": HeardOften(0, 2)},
    (OwnWord("she's lit", "outcome", "lit"),),
)


def test_what_is_kept_is_read_again_and_only_the_user_can_read_it(settings: Path) -> None:
    """File and folder are closed to everybody else, capitals make no difference, and nothing is lost."""
    path = keeping.keep(SAM)
    assert path.parent == settings
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(settings.stat().st_mode) == 0o700
    again = keeping.read("sam  o'neil ")
    assert again == SAM
    assert again is not None
    assert again.scales.tolist() == SAM.scales.tolist()


def test_forgetting_removes_the_file(settings: Path) -> None:
    """Afterwards nothing is known, and forgetting again says so."""
    keeping.keep(SAM)
    assert keeping.forget("Sam O'Neil")
    assert list(settings.iterdir()) == []
    assert not keeping.forget("Sam O'Neil")
    assert keeping.read("Sam O'Neil") is None


@pytest.mark.parametrize("name", ["../up", "a/b", ".hidden", "CON", "Zoë", "%2e"])
def test_any_name_stays_in_the_folder(settings: Path, name: str) -> None:
    """A name is no path."""
    assert keeping.keep(Learnt(name)).parent == settings
    found = keeping.read(name)
    assert found is not None
    assert found.technician == name


def test_the_only_voice_is_used_and_of_several_none() -> None:
    """Without a name the only one hears; with two the screen says how to choose."""
    assert hearer_of("").learnt is None
    keeping.keep(SAM)
    assert hearer_of("").learnt == SAM
    assert "Sam O'Neil" in hearer_of("").remarks(resources.bundled_model())[0]
    keeping.keep(Learnt("Kim"))
    assert hearer_of("").learnt is None
    assert "--technician" in hearer_of("").remarks(resources.bundled_model())[0]
    assert hearer_of("kim").learnt == Learnt("Kim")
    assert hearer_of("Nobody").learnt is None


def test_a_damaged_file_is_told_in_a_sentence(settings: Path) -> None:
    """The message names the file and the cure; other voices are still found."""
    path = keeping.keep(SAM)
    keeping.keep(Learnt("Kim"))
    path.write_bytes(path.read_bytes()[:40])
    with pytest.raises(UsageProblem, match="damaged"):
        keeping.read("Sam O'Neil")
    assert [one.technician for one in keeping.every()] == ["Kim"]


@given(st.binary(max_size=200))
def test_any_bytes_are_a_voice_or_a_known_error(data: bytes) -> None:
    """No other exception leaves the parser."""
    try:
        parse_learnt(data)
    except MALFORMED:
        return
