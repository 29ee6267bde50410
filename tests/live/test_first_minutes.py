"""`run` without anything in a real terminal: three questions, a try of the gear, and the session begins."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from window import Window

if TYPE_CHECKING:
    from bay import Bay, Terminal


@pytest.fixture
def window(bay: Bay, tmp_path: Path) -> Iterator[Window]:
    """A window of 100 by 30, with settings of its own."""
    bay.environment["BAY_ASSISTANT_SETTINGS"] = str(tmp_path / "settings.toml")
    made = Window(bay, tmp_path / "tmux")
    yield made
    made.close()


def header(sessions: Path) -> dict[str, Any]:
    """The header of the only session."""
    (folder,) = (one for one in sessions.iterdir() if one.is_dir())
    found: dict[str, Any] = json.loads((folder / "session.json").read_text(encoding="utf-8"))
    return found


def test_a_new_user_answers_hears_the_voice_and_begins(window: Window, tmp_path: Path) -> None:
    """Each question is answered in a line; loudspeaker and microphone are tried; the answers stand in the header."""
    (tmp_path / "settings.toml").write_text('[technicians]\nJD = "Jane Doe"\n', encoding="utf-8")
    window.start("run", "--sessions", str(tmp_path / "sessions"))
    window.wait_for("Who works? Name or initials:")
    window.press("jd", "Enter")
    window.wait_for("bay-assistant settings --set technician jd")
    window.wait_for("Repair order number:")
    window.press("Enter")
    window.wait_for("The customer's complaint:")
    window.press("cranks, no start", "Enter")
    window.wait_for("Loudspeaker: spoke a sentence in 'heart'")
    window.wait_for("Is it safe to crank?", 90)
    facts = header(tmp_path / "sessions")["facts"]
    assert ("Jane Doe", "", "cranks, no start") == (facts["technician"], facts["order"], facts["complaint"])
    window.press("q", "q")
    window.wait_for("ended: 0")


def test_a_muted_microphone_is_told_and_the_keys_are_offered(
    window: Window, bay: Bay, tmp_path: Path
) -> None:
    """One sentence says what is wrong, Enter goes on by keys; nobody is asked for a name that is set."""
    (tmp_path / "settings.toml").write_text('technician = "JD"\n', encoding="utf-8")
    bay.pactl("set-source-mute", "bay_microphone.monitor", "1")
    window.start("run", "--silent", "--sessions", str(tmp_path / "sessions"))
    window.wait_for("Repair order number:")
    assert "Who works" not in " ".join(window.shows())
    window.press("4711", "Enter")
    window.wait_for("The customer's complaint:")
    window.press("Enter")
    window.wait_for("Microphone: gives nothing but silence")
    window.wait_for("Go on by keys? Enter goes on, n stops:")
    assert not (tmp_path / "sessions").exists()
    window.press("Enter")
    window.wait_for("Keys only", 60)
    facts = header(tmp_path / "sessions")["facts"]
    assert ("JD", "4711") == (facts["technician"], facts["order"])
    window.press("q", "q")
    window.wait_for("ended: 0")


def test_by_keys_alone_no_sound_is_touched(terminal: Any, tmp_path: Path) -> None:
    """With neither microphone nor loudspeaker there are three questions and the session; cursor keys are no text."""
    program: Terminal = terminal(
        "run", "--keys-only", "--silent", "--plain", "--sessions", str(tmp_path / "sessions")
    )
    for question, answer in (
        ("Who works", "R. \x1b[DAlvarez\r"),
        ("Repair order", "\r"),
        ("complaint", "\r"),
    ):
        program.wait_for(question)
        program.press(answer)
    program.wait_for("Keys only")
    assert "R. Alvarez" == header(tmp_path / "sessions")["facts"]["technician"]
    assert "Loudspeaker" not in program.text
    program.press("qq")
    assert 0 == program.ended()
