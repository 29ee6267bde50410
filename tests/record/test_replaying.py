"""Replay: the same events cause the same actions."""

from __future__ import annotations

import shutil
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from sample_log import FACTS, begin, record, ticking, tone

from assistant.core.dialogue.runner import Runner
from assistant.core.values.events import (
    Action,
    Began,
    Event,
    Heard,
    KeyPressed,
    NoInput,
    NoiseChanged,
    NoMatch,
    Resumed,
    Say,
    SpeechFinished,
)
from assistant.core.values.result import Result
from assistant.errors import RecordBroken
from assistant.loading.folder import load_folder
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.record import SessionLog, read_session, replay, verify
from assistant.resources import directory

if TYPE_CHECKING:
    from pathlib import Path


def live(log: SessionLog, events: list[Event]) -> None:
    """Feed events to the dialogue and record what it answers; each utterance is heard to its end."""
    runner = Runner(*load_folder(log.procedures), log.header.thresholds)
    if log.recorded:
        for line in log.recorded.lines:
            runner.receive(line.event)
    for event in events:
        waiting = [event]
        while waiting:
            now = waiting.pop(0)
            actions = runner.receive(now)
            log.append(now, actions)
            waiting += [
                SpeechFinished(now.at + 1.0, act.utterance) for act in actions if isinstance(act, Say)
            ]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A session with the procedures of this package, interrupted and resumed."""
    library = directory("procedures")
    with SessionLog.create(tmp_path / "sessions", FACTS, library, now=ticking()) as log:
        clip = log.keep_clip(tone())
        lit = Heard(30.0, "feed lit", Result(outcome="lit", place="feed"), 0.97, clip, 14.0, -40.0)
        live(
            log,
            [
                Began(0.0, "coil-control"),
                KeyPressed(20.0, "enter"),
                lit,
                NoMatch(40.0, "hm", 0.4),
                NoInput(70.0),
            ],
        )
    with SessionLog.resume(log.folder, now=ticking()) as again:
        live(again, [Resumed(100.0), NoiseChanged(110.0, -12.0, hopeless=True), KeyPressed(120.0, "stop")])
        again.seal()
    return log.folder


def test_a_session_is_reproduced(folder: Path) -> None:
    """The dialogue of this version, fed with the recorded events, answers every one as recorded."""
    assert len(read_session(folder).lines) > 10
    assert [] == verify(folder)
    assert [] == replay(folder)


def test_the_recorded_limits_and_procedures_are_used(folder: Path) -> None:
    """Replay takes thresholds and procedures from the session, not from the installed package."""
    seen = []

    class Watched(Runner):
        """A dialogue that tells what it was made with."""

        def __init__(self, *made_with: object) -> None:
            seen.extend(made_with)
            super().__init__(*made_with)  # type: ignore[arg-type]

    replay(folder, Watched)
    assert [*load_folder(folder / "procedures"), DEFAULT_THRESHOLDS] == seen


def test_every_line_that_differs_is_named(folder: Path) -> None:
    """A dialogue that says other words than then is found out, line by line."""

    class Louder(Runner):
        """A dialogue that shouts."""

        def receive(self, event: Event) -> tuple[Action, ...]:
            return tuple(
                replace(act, text=act.text.upper()) if isinstance(act, Say) else act
                for act in super().receive(event)
            )

    lines = read_session(folder).lines
    spoken = [line.number for line in lines if any(isinstance(act, Say) for act in line.actions)]
    begin = next(act.text for line in lines for act in line.actions if isinstance(act, Say))[:12]
    differences = replay(folder, Louder)
    assert spoken == [difference.line for difference in differences]
    assert differences[0].recorded != differences[0].now
    assert f'line 1: Began caused "{begin}' in str(differences[0])
    assert f'and "{begin.upper()}' in str(differences[0])


def test_an_altered_session_is_not_replayed(tmp_path: Path) -> None:
    """Replaying what was altered would prove nothing."""
    with begin(tmp_path) as log:
        record(log)
    copy = tmp_path / "copy"
    shutil.copytree(log.folder, copy)
    path = copy / "log.jsonl"
    path.write_bytes(path.read_bytes().replace(b'"at":3.0', b'"at":3.5'))
    with pytest.raises(RecordBroken, match="not what was recorded"):
        replay(copy)
