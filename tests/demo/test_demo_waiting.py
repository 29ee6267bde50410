"""A played person who takes long: reminders in between do not begin the wait anew."""

from __future__ import annotations

import json
from pathlib import Path

from assistant import demo
from assistant.core.values.events import KeyPressed, NoInput
from assistant.record import read_session

ENTER = {"when": ["acknowledging"], "keys": ["enter"]}
TURNS = [
    ENTER,
    {"when": ["asking"], "after_s": 75, "keys": ["1"]},
    ENTER,
    {"when": ["asking"], "keys": ["slash"]},
    {"when": ["standing by"], "after_s": 40, "keys": ["close"]},
]


def test_a_wait_longer_than_the_silence_that_brings_a_reminder_comes_to_its_end(tmp_path: Path) -> None:
    """75 s at a step: reminded after each 30 s of silence, and then answered; the scenario ends by itself."""
    (tmp_path / "s.json").write_text(
        json.dumps({"procedure": "feed-dead", "facts": {}, "turns": TURNS}), encoding="utf-8"
    )
    assert 0 == demo.run(tmp_path / "out", script=tmp_path / "s.json")
    (session,) = (tmp_path / "out" / "sessions").iterdir()
    events = [line.event for line in read_session(session).lines]
    answered = next(event.at for event in events if isinstance(event, KeyPressed) and event.key == "1")
    reminded = [event.at for event in events if isinstance(event, NoInput)]
    assert 2 == len([at for at in reminded if at < answered])
    assert reminded[1] < answered < reminded[1] + 30
    assert 3 == len(reminded)  # and once while standing by
