"""A small session for the tests of the record, written event by event."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from typing import TYPE_CHECKING

import numpy as np

from assistant.core.values.board import Board
from assistant.core.values.entries import (
    CautionAcknowledged,
    CautionGiven,
    ProcedureEntered,
    ResultTaken,
    ResultUndone,
    VerdictReached,
)
from assistant.core.values.events import (
    Action,
    Began,
    Clip,
    Event,
    Finish,
    Heard,
    KeyPressed,
    Listen,
    Note,
    Say,
    Show,
    Speech,
    SpeechFinished,
)
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.record import Facts, SessionLog

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from decimal import Decimal
    from pathlib import Path

ZONE = timezone(timedelta(hours=-5))
START = datetime(2026, 11, 25, 14, 32, 7, 250000, tzinfo=ZONE)
FACTS = Facts(
    order="4711", vin="1G4AH59H45G118341", vehicle="blue pickup", complaint="cranks, won't start; café note",
    technician="R. Alvarez",
)  # fmt: skip
LIT = Result(outcome="lit", place="feed")


def ticking(start: datetime = START) -> Callable[[], datetime]:
    """A clock that goes on by a second and a quarter each time it is read."""
    moments = (start + timedelta(seconds=1.25 * count) for count in range(1_000_000))
    return lambda: next(moments)


def tokens(*names: str) -> Callable[[], str]:
    """Folder names in a fixed order."""
    left: Iterator[str] = iter(names)
    return lambda: next(left)


def procedure_folder(parent: Path) -> Path:
    """A folder with two files that are copied into the session, and one that is not."""
    folder = parent / "procedures"
    folder.mkdir()
    (folder / "terms.yaml").write_text("places: {}\n", encoding="utf-8")
    (folder / "feed.yaml").write_text("procedure: feed\n", encoding="utf-8")
    (folder / "notes.txt").write_text("not a procedure\n", encoding="utf-8")
    return folder


def tone(seconds: float = 0.2) -> np.ndarray:
    """A quiet tone: one channel, 16 bits, 16 kHz."""
    time = np.arange(int(16_000 * seconds)) / 16_000
    return (1000 * np.sin(2 * np.pi * 440 * time)).astype(np.int16)


def taken(number: int, following: str, value: Decimal | None = None) -> ResultTaken:
    """A result of the only step."""
    return ResultTaken(
        number, "feed", "feed-while-cranking", "lit", value, "V" if value is not None else None,
        "voice", "feed lit", 0.97, 14.5, "read back", "clips/0001.flac", following,
    )  # fmt: skip


def story(clip: Clip) -> list[tuple[Event, tuple[Action, ...]]]:
    """A session from its first word to a verdict."""
    step = ("feed", "feed-while-cranking")
    board = Board(title="Feed, a test", step=1, headline="FEED SIDE", choices=(("1", "lit"), ("2", "dark")))
    engine_turns = Say(1, "The engine will turn.", Speech.CAUTION, can_be_cut=False)
    correction = Result(control=Control.CORRECTION)
    return [
        (Began(0.0, "feed"), (Note(ProcedureEntered("feed")), engine_turns)),
        (
            SpeechFinished(3.0, 1),
            (Note(CautionGiven("cranking", "full", *step)), Listen(GrammarRequest(), 8.0)),
        ),
        (KeyPressed(4.0, "enter"), (Note(CautionAcknowledged(("cranking",), *step, "keypad")), Show(board))),
        (Heard(9.5, "feed lit", LIT, 0.97, clip, 14.5, -41.0), (Note(taken(1, "verdict:feed-good")),)),
        (Heard(11.0, "correction", correction, 0.93), (Note(ResultUndone(1, *step, "voice")),)),
        (Heard(19.0, "lit", LIT, 0.99, clip, 15.0, -40.0), (Note(taken(2, "verdict:feed-good")),)),
        (
            KeyPressed(25.0, "enter"),
            (Note(VerdictReached("feed", "feed-good", affirmed=True)), Finish("verdict")),
        ),
    ]


def begin(parent: Path, name: str = "k7f3") -> SessionLog:
    """A new session in ``parent/sessions`` with the procedures of ``parent/procedures``."""
    library = parent / "procedures"
    if not library.is_dir():
        procedure_folder(parent)
    return SessionLog.create(parent / "sessions", FACTS, library, now=ticking(), token=tokens(name))


def record(log: SessionLog, count: int | None = None) -> None:
    """Write the story, or its first lines."""
    for event, actions in story(log.keep_clip(tone()))[:count]:
        assert log.append(event, actions) is None
